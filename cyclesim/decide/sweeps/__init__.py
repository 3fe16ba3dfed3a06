"""Many runs: one function over many things, kept as they come, each read as plain numbers."""
