"""The one error type meant for people: a sentence that says what is wrong, where, and what to do."""


class Mistake(ValueError):
    """Something the user asked for or gave cannot be used.

    The message is one plain sentence (what is wrong, where, what to do). Commands print it on standard
    error and leave with exit code 2; pages show it in place. It is never a sign of a programming error.
    """
