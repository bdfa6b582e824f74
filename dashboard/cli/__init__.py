"""The command: one module a command."""
