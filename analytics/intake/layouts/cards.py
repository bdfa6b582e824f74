"""Cards: a cow on each, with words and what they say beside each other, one card under the other."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from evenfoot.analytics.domain.lexicon import plain
from evenfoot.analytics.intake.layouts.roles import Role, read_heading
from evenfoot.analytics.intake.layouts.table_records import column_of
from evenfoot.analytics.intake.sheet import RawSheet

MOST_LINES = 5000
"""Cards are no longer than this. [common practice, no source]"""
LEAST_CARDS = 2
LEAST_PLACES = 2
"""Feet, claws or lesions that a card has words for. [common practice, no source]"""
LEAST_SHARE = 0.7
"""Share of the filled rows that are rows of cards; others are titles. [common practice, no source]"""
_PLACES = ("foot", "claw", "pair", "lesion")


def table_of_cards(sheet: RawSheet) -> RawSheet | None:
    """The cards of a sheet as a table of a row a card, in the row where each begins; ``None`` where it holds none."""
    if not len(sheet) or len(sheet) > MOST_LINES or not 2 <= len(sheet.columns) <= MOST_COLUMNS:
        return None
    cards: list[tuple[int, dict[str, str]]] = []
    filled = fitting = 0
    start: int | None = None
    for row in range(len(sheet)):
        cells = [" ".join(cell.split()) for cell in sheet.row(row)]
        said = sum(bool(cell) for cell in cells)
        pairs = _pairs(cells) if said else None
        filled += said > 0
        if pairs is None:
            start = None
            continue
        fitting += 1
        if start is None or not pairs.keys().isdisjoint(cards[-1][1]):
            start = row
            cards.append((row, {}))
        cards[-1][1].update(pairs)
    whole = [(row, card) for row, card in cards if _is_card(card)]
    if len(whole) < LEAST_CARDS or len(whole) < len(cards) or fitting < LEAST_SHARE * filled:
        return None
    labels = list(dict.fromkeys(label for _, card in whole for label in card))
    rows = [[""] * len(labels) for _ in range(len(sheet))]
    for row, card in whole:
        rows[row] = [card.get(label, "") for label in labels]
    first = whole[0][0]
    rows.insert(first, labels)
    columns = [column_of([row[place] for row in rows]) for place in range(len(labels))]
    widths = np.full(len(rows), len(labels), dtype=np.int32)
    # The headings take no line of the file, so that every card keeps the number of its first.
    return RawSheet(
        sheet.source, columns, widths, sheet.first_row - 1, from_workbook=sheet.from_workbook, tab=sheet.tab
    )


MOST_COLUMNS = 12


def _pairs(cells: Sequence[str]) -> dict[str, str] | None:
    """Words and what stands beside each; ``None`` where a row holds anything else.

    Example
    -------
    >>> _pairs(["Farm", "Pikes", "Cow no.", "1187"]), _pairs(["HOOF CARD", "", "", ""]), _pairs(["12", "LH", "SU", ""])
    ({'Farm': 'Pikes', 'Cow no.': '1187'}, None, None)
    """
    out: dict[str, str] = {}
    for label, text in zip(cells[::2], [*cells[1::2], ""], strict=False):
        if not label and not text:
            continue
        role = _role(label)
        if role is None or label in out or (text and _role(text) is not None and role.kind not in _PLACES):
            return None
        out[label] = text
    return out or None


def _role(text: str) -> Role | None:
    return read_heading(text.rstrip(" :")) if text and not plain(text).isdecimal() else None


def _is_card(card: dict[str, str]) -> bool:
    """Whether words tell of one cow and of her feet."""
    roles = {label: role for label in card if (role := _role(label)) is not None}
    cows = [label for label, role in roles.items() if role.code == "cow"]
    places = sum(role.kind in _PLACES or role.field == "lesion" for role in roles.values())
    return len(cows) == 1 and bool(card[cows[0]]) and places >= LEAST_PLACES
