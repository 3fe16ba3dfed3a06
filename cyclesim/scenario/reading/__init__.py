"""From a file to a scenario and back: loading, --set, rewriting, defaults, the schema."""
