"""A scenario assembled and run: simpy owns the time, the trace keeps what happened."""
