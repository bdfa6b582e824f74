"""The one error type meant for people: a sentence that says what is wrong, where, and what to do."""

from __future__ import annotations


class UserError(ValueError):
    """Something the user asked for or gave cannot be used.

    The message is one plain sentence (what is wrong, where, what to do), best made with
    :func:`evenfoot.analytics.messages.say` so that a page can say it in another language. Commands print it on standard
    error and leave with exit code 2; pages show it in place. It is never a sign of a programming error.
    """

    @property
    def sentence(self) -> str:
        """The sentence as it was given, with its template where it has one."""
        return self.args[0] if self.args and isinstance(self.args[0], str) else str(self)
