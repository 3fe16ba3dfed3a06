"""Plants side by side, now, in many futures, and over the years."""
