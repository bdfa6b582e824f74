"""Things done to a ledger that should never be done to one, many times over. Run by ``make torture``.

Each module is a command of its own with ``--times`` and ``--seed``, prints what it tried and what came of it, and
ends with exit code 1 if anything was lost. Short runs of all of them are part of ``make test``.
"""
