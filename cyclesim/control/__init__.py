"""What the controller does: facts, machines, demands, interlocks and the one step that reads them."""
