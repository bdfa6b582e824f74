"""Two groups chosen are compared with each other alone."""

from __future__ import annotations

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.pages.compared import compared, groups_at_hand, pair
from evenfoot.dashboard.pages.herd import _review
from evenfoot.dashboard.ui.view import View
from tests.pages.test_pages import words_of


def test_two_groups_are_compared_alone(demo_ledger: Ledger) -> None:
    whole = View.read("/comparison", "?lesions=DD")
    assert len(compared(demo_ledger, whole).table) == len(groups_at_hand(demo_ledger, whole)) > 2
    two = View.read("/comparison", "?lesions=DD&against=bedded-pack&reference=freestall")
    table = compared(demo_ledger, two).table
    assert list(table["group"]) == ["freestall", "bedded-pack"]
    alone = compared(demo_ledger, View("/comparison", Selection(lesions=("DD",), housing=("bedded-pack", "freestall"))))
    assert table[["cases", "at_risk"]].sum().equals(alone.table[["cases", "at_risk"]].sum())


def test_one_group_chosen_or_the_same_twice_is_no_pair() -> None:
    for search in (
        "?reference=freestall",
        "?against=freestall&reference=freestall",
        "?by=year&against=2025&reference=2026",
    ):
        assert pair(View.read("/comparison", search)) is None


def test_changes_of_a_herd_stand_in_a_table(demo_ledger: Ledger) -> None:
    drawn = _review(demo_ledger, View.read("/herd", "?farms=Osier End"))
    said = words_of(drawn.table)
    assert drawn.figure is None and drawn.finding.startswith("Worse: lame")
    for words in ("What", "Now, of 100", "Visit before", "A year ago", "Word", "Lame", "Worse"):
        assert words in said
    now = drawn.answer.table.set_index("what")["now"]["lame"]
    assert f"{round(100 * now)}" in said
