"""What a decision rests on: how far the numbers of a run may be off, and what makes them so."""
