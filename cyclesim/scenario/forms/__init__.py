"""What the fields of a file are made of: quantities, names, times, lists, pipes."""
