"""Is a ledger whole, and how it is made whole again: verify, repair, backup, erase."""
