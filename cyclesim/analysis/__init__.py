"""Numbers and rules read from a trace."""
