"""Water, pipes and heat: floats in, floats out, SI inside; no file, no clock, no control."""
