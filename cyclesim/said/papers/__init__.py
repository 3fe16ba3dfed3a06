"""What papers for the hand-over say, as plain data: one file for each who reads one."""
