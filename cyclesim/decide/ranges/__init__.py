"""How far the numbers of a run may be off, and which inputs make them so."""
