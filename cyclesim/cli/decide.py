"""Commands that decide with numbers: tune, compare, size."""
