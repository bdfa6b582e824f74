"""The cows to see today stand under their first reason, once said, each with her score and what else there is."""

from __future__ import annotations

from typing import Any

from dash import html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.planning.worklist import needing_someone
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.i18n.translation import Words, speaking, told
from evenfoot.dashboard.pages.today import FIRST_COWS, PAGE
from evenfoot.dashboard.report.cow_lists import REASONS
from evenfoot.dashboard.ui.view import View

LIST = next(panel for panel in PAGE.panels if panel.name == "today-cows")


def lines(part: Any) -> list[html.Tr]:
    """The rows of the one table, its headings among them."""
    found = [part] if isinstance(part, html.Tr) else []
    below = part if isinstance(part, (list, tuple)) else getattr(part, "children", None)
    return found + [row for each in (below if isinstance(below, (list, tuple)) else [below]) if each is not None
                    and not isinstance(each, str) for row in lines(each)]  # fmt: skip


def test_a_reason_is_said_once_above_its_cows(demo_ledger: Ledger) -> None:
    for farm in demo_ledger.farms():
        answer = needing_someone(demo_ledger, Selection(farms=(farm,)))
        first = answer.table.head(FIRST_COWS)
        _heads, *rows = lines(LIST.draw(demo_ledger, View.read("/today", f"?farms={farm}")))
        under: list[tuple[str, str]] = []
        said: list[str] = []
        for row in rows:
            if getattr(row, "className", None) == "group":
                said.append(row.children[0].children if isinstance(row.children, list) else row.children.children)
            else:
                under.append((said[-1], row.children[0].children.children))
        assert [cow for _, cow in under] == first["cow"].tolist()
        assert len(said) == len(set(said))
        for (heading, _cow), kinds, who in zip(under, first["kinds"], first["who"], strict=True):
            assert heading.startswith(REASONS[kinds.split(",")[0]][1])
            assert heading.endswith("ask your veterinarian") == (who == "veterinarian")


def test_what_else_there_is_of_a_cow_is_not_lost(demo_ledger: Ledger) -> None:
    farm = "Larkmoor"
    answer = needing_someone(demo_ledger, Selection(farms=(farm,)))
    first = answer.table.head(FIRST_COWS)
    several = first[first["kinds"].str.contains(",")]
    assert len(several)
    _heads, *rows = lines(LIST.draw(demo_ledger, View.read("/today", f"?farms={farm}")))
    text = {row.children[0].children.children: str(row) for row in rows if getattr(row, "className", "") != "group"}
    for cow, kinds in zip(several["cow"], several["kinds"], strict=True):
        for kind in kinds.split(",")[1:]:
            assert REASONS[kind][1] in text[cow]


def test_no_comfort_where_nothing_is_recorded(demo_ledger: Ledger) -> None:
    said = str(LIST.draw(demo_ledger, View.read("/today", "?farms=Nowhere")))
    assert "nothing was recorded" in said
    assert "cannot wait" not in said


def test_feet_have_the_letters_of_the_language() -> None:
    with speaking(Words("es")):
        assert (told("LH"), told("RF")) == ("PI", "AD")
    assert told("LH") == "LH"
