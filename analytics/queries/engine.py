"""Asking the engine: questions are SQL text, and small frames come back.

Questions are written in the dialect of the embedded engine (:mod:`evenfoot.analytics.queries.sql`) and translated for
whichever engine holds the ledger. Each thread runs them on its own cursor.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.engines.dialects import translate_question

if TYPE_CHECKING:
    import pandas as pd


def fetch(ledger: Ledger, question: str) -> pd.DataFrame:
    """Run one question and give its rows as a pandas frame.

    Dates come back as ``datetime64``; counts as integers.

    Raises
    ------
    UserError
        The ledger is absent or cannot be read.
    """
    return fetch_many(ledger, {"only": question})["only"]


def fetch_many(ledger: Ledger, questions: Mapping[str, str]) -> dict[str, pd.DataFrame]:
    """Run several questions on one lease, so that they see the same records; see :func:`fetch`."""
    engine = ledger.engine
    with ledger.reading() as cursor:
        texts = {name: translate_question(text, engine.dialect) for name, text in questions.items()}
        return {name: engine.frame(cursor, text) for name, text in texts.items()}
