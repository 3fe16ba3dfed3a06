"""What is said of a run, a plant or a choice: tables, sentences and advice as plain data."""
