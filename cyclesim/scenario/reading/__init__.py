"""From a file to a scenario and back: loading, --set, rewriting, the starter, the schema."""
