"""What readings from the finished plant say: causes that explain them, and what to measure next."""
