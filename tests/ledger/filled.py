"""A ledger with something in every table, made step by step on any engine."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, agreements
from evenfoot.analytics.ledger.aliases import add_alias, take_back_alias
from evenfoot.analytics.ledger.exports.anonymization import write_anonymous
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.erase import erase_farm
from evenfoot.analytics.ledger.layout_answers import remove_layout, save_answers
from evenfoot.analytics.ledger.limits import forget_limit, set_limit
from evenfoot.analytics.ledger.photos import add_photo
from tests.ledger.storing import PHOTO, SHEETS

MORE = {
    "limits.csv": "farm,breed,parity_first,parity_last,limit,value\nAlder,Jersey,1,2,long_toe_mm,79\n",
    "counts.csv": "visit_date,farm,looked_at,lesion,cases\n2025-05-05,Birch,40,DD,6\n2025-05-05,Birch,40,SU,2\n",
    "dogwood.csv": "visit_date,farm,cow,foot,lesion\n"
    + "".join(f"2025-06-02,Dogwood,{cow},,none\n" for cow in range(20, 32))
    + "2025-06-02,Dogwood,40,LH,DD\n2025-06-02,Dogwood,41,LH,no such thing\n",
}
TWO = "visit_date,farm,cow,foot,lesion,severity\n2025-07-01,{farm},1,LH,SU,{one}\n2025-07-01,{farm},2,LH,SU,{other}\n"


def bring_in(ledger: Ledger, text: str, name: str, choice: str | None = None) -> int:
    """Import a sheet; the number of the import."""
    sheets = check_file(text.encode(), name, day_first=None, known_farms=ledger.farms())
    return add_sheets(ledger, sheets, name, f"{len(text):064d}", revision_choice=choice).import_no  # type: ignore[arg-type]


def steps(ledger: Ledger, folder: Path) -> Iterator[tuple[str, Callable[[], object]]]:
    """What people do to a ledger, one after another; *folder* takes the exports."""
    for name, text in (SHEETS | MORE).items():
        yield f"import {name}", partial(bring_in, ledger, text, name)
    yield "the same sheet again", lambda: bring_in(ledger, SHEETS["more.csv"], "again.csv")
    yield "undo", lambda: undo_import(ledger, 7)
    yield "two records", lambda: bring_in(ledger, TWO.format(farm="Elder", one=1, other=1), "two.csv")
    for turn in (2, 3):
        text = TWO.format(farm="Elder", one=turn, other=1)
        yield f"version {turn} of one", partial(bring_in, ledger, text, "two.csv", "replace")
    yield "another one again", lambda: bring_in(ledger, TWO.format(farm="Elder", one=3, other=2), "four.csv", "replace")
    yield "undo what replaced", lambda: undo_import(ledger, 13)
    yield "two versions kept", lambda: bring_in(ledger, TWO.format(farm="Elder", one=1, other=3), "b.csv", "keep both")
    yield "limit", lambda: set_limit(ledger, "long_toe_mm", 80, farm="Alder", breed="Jersey", parity=(1, 2))
    yield "limit set anew", lambda: set_limit(ledger, "long_toe_mm", 81, farm="Alder", breed="Jersey", parity=(1, 2))
    yield "limit of all", lambda: set_limit(ledger, "thin_sole_mm", 4)
    yield "limit taken back", lambda: forget_limit(ledger, 2)
    day = dt.date(2025, 3, 3)
    yield "agreement", lambda: agreements.add(ledger, "Alder", "Lay rubber", agreed_on=day, due_on=day, lesion="SU")
    yield "agreement of another", lambda: agreements.add(ledger, "Birch", "Wash the bath", agreed_on=day, who="KV")
    yield "agreement done", lambda: agreements.mark_done(ledger, 1, done_on=dt.date(2025, 4, 1), outcome="half of it")
    yield "agreement changed", lambda: agreements.change(ledger, 1, {"place": "hind, zone 4"})
    yield "a photo", lambda: add_photo(ledger, 3, PHOTO)
    yield "a photo of another", lambda: add_photo(ledger, 2, b"%PDF-1.4" + PHOTO * 6000)
    yield "agreement removed", lambda: agreements.remove(ledger, 2)
    for said, means in (("KVz", "KV"), ("JMx", "JM"), ("JMx", "KV")):
        yield f"{said} is {means}", partial(add_alias, ledger, "trimmer", said, means)
    yield "a cow", lambda: add_alias(ledger, "cow", "one", "1", "Alder")
    yield "a name taken back", lambda: take_back_alias(ledger, "trimmer", "KVz")
    yield "answers", lambda: save_answers(ledger, "a.csv", ["Cow", "Foot"], "KV", {"day first": True})
    yield "more answers", lambda: save_answers(ledger, "a.csv", ["Cow", "Foot"], "KV", {"scale": "1-5"})
    yield "other answers", lambda: save_answers(ledger, "b.csv", ["Animal"], None, {"day first": False})
    yield "answers removed", lambda: remove_layout(ledger, 2)
    yield "anonymous export", lambda: write_anonymous(ledger, folder / "rows.csv")
    yield "erase", lambda: erase_farm(ledger, "Birch")


def fill(ledger: Ledger, folder: Path, *, erase: bool = False) -> Ledger:
    """Do all of it, but for the erasing unless asked for."""
    for name, step in steps(ledger, folder):
        if erase or name != "erase":
            step()
    return ledger
