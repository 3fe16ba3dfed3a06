"""Text to plain values with their places: YAML and CSV, and what is wrong with them in plain words."""
