"""What a run came to: metrics, and the rules it is judged by."""
