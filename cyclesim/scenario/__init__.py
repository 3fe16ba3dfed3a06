"""What a person writes: the scenario file, its units and its errors."""
