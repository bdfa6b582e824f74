"""Raw rows become records, or rejected rows with their reasons."""
