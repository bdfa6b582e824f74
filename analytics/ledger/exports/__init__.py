"""What leaves a ledger: folders of files, open standards, copies without names."""
