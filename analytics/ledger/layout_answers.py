"""Answers that were given for a layout of sheets, which is known again by its headings."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger.aliases import spelling
from evenfoot.analytics.ledger.checksums import changing
from evenfoot.analytics.ledger.history import note
from evenfoot.analytics.ledger.ledger import Ledger
from evenfoot.analytics.ledger.schema import BOOKKEEPING
from evenfoot.analytics.messages import say

_DIGITS = re.compile(r"\d+")
_APART = re.compile(r"[\W_]+")


def signature_of(headings: Sequence[str]) -> str:
    """What a layout is known by: its headings without order, case, punctuation and digits.

    A sheet that has got another column of the same sort, such as one more month or one more lesion, has the same
    signature.

    Example
    -------
    >>> signature_of(["Cow No.", "LF", "Score 2026-03"]) == signature_of(["lf", "score 2026-04", "COW NO"])
    True
    """
    return hashlib.sha256(json.dumps(_normal(headings), ensure_ascii=False).encode()).hexdigest()


def _normal(headings: Sequence[str]) -> list[str]:
    """Headings as they are compared: each once, in order of the alphabet."""
    plain = (_DIGITS.sub("0", _APART.sub(" ", heading.casefold())) for heading in headings)
    return sorted({re.sub(r"0( 0)+", "0", " ".join(heading.split())) for heading in plain} - {""})


def save_answers(
    ledger: Ledger, name: str, headings: Sequence[str], trimmer: str | None, answers: Mapping[str, object]
) -> int:
    """Keep the answers that were given for a layout, beside those kept before; a newer answer holds.

    Parameters
    ----------
    ledger : Ledger
    name : str
        What the layout is called in lists, such as the name of the file.
    headings : sequence of str
        The sheet's own headings.
    trimmer : str or None
        Whose sheets they are. One layout may be kept for several trimmers, and for nobody.
    answers : mapping of str to object
        Question -> value, which JSON can hold.

    Returns
    -------
    int
        The layout's number.

    Raises
    ------
    UserError
        There are no headings.
    """
    signature = signature_of(headings)
    if not _normal(headings):
        raise UserError(say("The sheet has no headings by which it could be known again; its answers are not kept."))
    now = dt.datetime.now(dt.UTC).replace(tzinfo=None)
    with ledger.writing() as connection:
        kept = [
            (int(number), json.loads(before))
            for number, whose, before in connection.execute(
                "SELECT layout_no, trimmer, answers FROM layouts WHERE signature = ?", [signature]
            ).fetchall()
            if _same_trimmer(whose, trimmer)
        ]
        number, before = kept[0] if kept else (0, {})
        after = {**before, **answers}
        text = json.dumps(after, ensure_ascii=False, sort_keys=True)
        with changing(connection, "layouts"):
            if kept:
                connection.execute(
                    "UPDATE layouts SET name = ?, headings = ?, answers = ?, used_at = ? WHERE layout_no = ?",
                    [name, json.dumps(list(headings), ensure_ascii=False), text, now, number],
                )
            else:
                [(number,)] = connection.execute("SELECT COALESCE(MAX(layout_no), 0) + 1 FROM layouts").fetchall()
                connection.execute(
                    "INSERT INTO layouts VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                    [number, name, json.dumps(list(headings), ensure_ascii=False), signature, trimmer, text, now, now],
                )
        if after != before:
            note(connection, "answers kept", subject=f"layout {number}", before=before or None, after=after)
    return int(number)


def answers_for(ledger: Ledger, headings: Sequence[str], trimmer: str | None = None) -> dict[str, Any]:
    """The answers kept for a layout: those kept for nobody, and over them the trimmer's own.

    Where none are kept for these headings, those of the layout used last that has one column more or less hold.

    Parameters
    ----------
    ledger : Ledger
    headings : sequence of str
        The sheet's own headings.
    trimmer : str, optional
        Whose sheet it is; without one, and where only one trimmer's answers are kept, those.

    Returns
    -------
    dict of str to object
        Question -> value; empty where nothing is kept.
    """
    if not ledger.exists:
        return {}
    with ledger.reading() as cursor:
        kept = cursor.execute(
            "SELECT trimmer, answers FROM layouts WHERE signature = ? ORDER BY used_at", [signature_of(headings)]
        ).fetchall()
        if not kept:
            others = cursor.execute("SELECT trimmer, answers, headings FROM layouts ORDER BY used_at").fetchall()
            near = [(whose, answers) for whose, answers, theirs in others if _is_near(json.loads(theirs), headings)]
            kept = near[-1:]
    general = [json.loads(answers) for whose, answers in kept if whose is None]
    own = [json.loads(answers) for whose, answers in kept if whose is not None and _same_trimmer(whose, trimmer)]
    if trimmer is None and len(kept) == 1:
        own = [json.loads(kept[0][1])]
    out: dict[str, Any] = {}
    for answers in (*general, *own):
        out |= answers
    return out


def _is_near(headings: Sequence[str], others: Sequence[str]) -> bool:
    """Whether two layouts have all columns but one in common: a sheet may have got a column, or lost one.

    Example
    -------
    >>> _is_near(["Date", "Cow", "LH", "RH"], ["Date", "Cow", "LH", "RH", "Notes"]), _is_near(["Date"], ["Date", "Cow"])
    (True, False)
    """
    one, other = set(_normal(headings)), set(_normal(others))
    return len(one & other) >= LEAST_IN_COMMON and len(one ^ other) <= 1


LEAST_IN_COMMON = 3
"""Columns that two layouts must share to be taken for one that has changed. [common practice, no source]"""


def layouts(ledger: Ledger) -> pd.DataFrame:
    """The layouts that are remembered: layout_no, name, headings and answers (JSON), signature, trimmer, created_at,
    used_at (UTC)."""
    if not ledger.exists:
        return pd.DataFrame(columns=list(BOOKKEEPING["layouts"]))
    return ledger.frame(f"SELECT {', '.join(BOOKKEEPING['layouts'])} FROM layouts ORDER BY layout_no")


def remove_layout(ledger: Ledger, number: int) -> None:
    """Remove a layout and its answers.

    Raises
    ------
    UserError
        There is no such layout.
    """
    with ledger.writing() as connection:
        found = connection.execute("SELECT name, answers FROM layouts WHERE layout_no = ?", [number]).fetchall()
        if not found:
            raise UserError(say("There is no layout {number}; `evenfoot layouts` lists them.", number=number))
        with changing(connection, "layouts"):
            connection.execute("DELETE FROM layouts WHERE layout_no = ?", [number])
        [(name, answers)] = found
        note(connection, "layout removed", subject=f"layout {number}", before={"name": name, **json.loads(answers)})


def is_whole(headings: Any, signature: Any, answers: Any) -> bool:
    """Whether a layout is as it was kept: headings that have the signature, and answers by question."""
    try:
        listed, kept = json.loads(headings), json.loads(answers)
    except (ValueError, TypeError):
        return False
    return isinstance(kept, dict) and isinstance(listed, list) and signature_of(list(map(str, listed))) == signature


def _same_trimmer(one: str | None, other: str | None) -> bool:
    return one == other if one is None or other is None else spelling(one) == spelling(other)
