"""What is said and what happened, as drawings."""
