"""Which programme to key in, and what plumbing would make room for one."""
