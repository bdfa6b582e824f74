"""The day that counts as today: one place, so that demo herds and tests can set it."""

from __future__ import annotations

import datetime as dt
import os

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say

SET_BY = "EVENFOOT_TODAY"
"""The environment variable that sets the day, written as 2026-10-31."""


def today() -> dt.date:
    """The present day, or the day that :data:`SET_BY` sets.

    Raises
    ------
    UserError
        The variable holds no date.
    """
    told = os.environ.get(SET_BY)
    if not told:
        return dt.date.today()
    try:
        return dt.date.fromisoformat(told)
    except ValueError:
        raise UserError(
            say(
                "{name} is set to '{text}', which is no date; write it as 2026-03-31 or leave it out.",
                name=SET_BY,
                text=told,
            )
        ) from None


def today_is_set() -> bool:
    """Whether another day than the present one counts as today."""
    return bool(os.environ.get(SET_BY))
