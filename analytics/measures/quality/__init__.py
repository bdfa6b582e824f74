"""How far the records can be trusted."""
