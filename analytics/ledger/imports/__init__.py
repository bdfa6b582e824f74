"""Checked sheets enter the ledger: compared, added, replaced, undone."""
