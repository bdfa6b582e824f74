"""What holds a ledger: one module an engine, and what they share."""
