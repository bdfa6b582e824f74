"""A small ledger of invented records, kept as each layout of the ledger made it.

``python -m tests.ledger.storing`` writes one of the layout this program makes. Do it once for each new layout,
before anything of the layout changes again; the file is kept for good.
"""

from __future__ import annotations

import datetime as dt
import lzma
import tempfile
from pathlib import Path

from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import Ledger, agreements, open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.limits import forget_limit, set_limit
from evenfoot.analytics.ledger.photos import add_photo
from evenfoot.analytics.ledger.schema import SCHEMA_VERSION

STORED = Path(__file__).parent / "stored"

PHOTO = bytes.fromhex("ffd8 ffda0002 00 ffd9")
"""As little as a JPEG can be."""

SHEETS = {
    "trims.csv": """visit_date,farm,trimmer,visit_kind,herd_size,cow,group,foot,claw,zone,lesion,severity,\
locomotion_score
2025-03-03,Alder,KV,whole-herd,4,1,high,LH,outer,4,SU,2,3
2025-03-03,Alder,KV,whole-herd,4,2,high,,,,none,,1
2025-03-03,Alder,KV,whole-herd,4,3,high,RH,,10,DD,1,2
2025-03-03,Alder,KV,whole-herd,4,4,dry,,,,none,,1
2025-09-01,Alder,KV,,4,1,high,LH,outer,3,WL,1,2
2025-09-01,Alder,KV,,4,x y,high,LH,outer,3,no such thing,1,2
2025-09-01,Birch,KV,lame-cow,,7,,RF,inner,5,TU,3,4
""",
    "more.csv": """visit_date,farm,trimmer,visit_kind,cow,foot,toe_length_mm,lesion
2025-03-03,Birch,KV,part-herd,7,LF,84,none
2025-03-03,Birch,KV,part-herd,8,LF,79,none
""",
    "scores.csv": "date,farm,cow,score,scale,scorer\n2025-04-01,Alder,1,3,1-5,KV\n2025-04-01,Alder,2,0,0-3,JM\n",
    "register.csv": (
        "farm,cow,birth_date,calvings,breed,sire,group_moves,entered_on\n"
        "Alder,1,2020-02-01,2022-01-05; 2023-02-07,Holstein,S1,2024-01-01 high; 2025-08-01 dry,2020-02-01\n"
        "Alder,3,2021-02-01,2023-03-05,Jersey,S2,,2021-02-01\n"
    ),
    "housing.csv": "farm,group,starts_on,ends_on,housing,floor\nAlder,high,2025-01-01,,freestall,concrete\n",
    "changes.csv": "farm,date,what\nAlder,2025-05-01,Rubber in the alleys\n",
    "taken-back.csv": "visit_date,farm,cow,lesion\n2025-03-04,Cedar,1,DD\n2025-03-04,Cedar,2,none\n",
}


def make(path: Path) -> Ledger:
    """A ledger at *path* with every kind of sheet, a row set aside, rows met again, limits, an import undone,
    agreements of which one is done and one removed, and a photo of a sheet."""
    ledger = open_ledger(str(path))
    for name, text in SHEETS.items():
        sheets = check_file(text.encode(), name, day_first=None, known_farms=ledger.farms())
        add_sheets(ledger, sheets, name, "0" * 64)
    again = check_file(SHEETS["more.csv"].encode(), "again.csv", day_first=None, known_farms=ledger.farms())
    add_sheets(ledger, again, "again.csv", "1" * 64)
    undo_import(ledger, 7)
    set_limit(ledger, "long_toe_mm", 80, farm="Alder", breed="Jersey", parity=(1, 2))
    set_limit(ledger, "thin_sole_mm", 4)
    forget_limit(ledger, 2)
    day = dt.date(2025, 3, 3)
    agreements.add(
        ledger, "Alder", "Trim the heifers before they calve", agreed_on=day, who="the trimmer",
        due_on=dt.date(2025, 6, 1), lesion="WL", place="outer hind claws",
    )  # fmt: skip
    agreements.mark_done(ledger, 1, done_on=dt.date(2025, 5, 20), outcome="all but two")
    agreements.add(ledger, "Birch", "Ask the veterinarian about cow 7", agreed_on=day)
    agreements.remove(ledger, 2)
    add_photo(ledger, 2, PHOTO)
    return ledger


def stored(layout: int) -> Path:
    """Where the ledger of a layout is kept."""
    return STORED / f"layout-{layout}.duckdb.xz"


def unpack(layout: int, place: Path) -> Ledger:
    """The stored ledger of a layout, at *place*."""
    place.write_bytes(lzma.decompress(stored(layout).read_bytes()))
    return open_ledger(str(place))


def main() -> None:
    out = stored(SCHEMA_VERSION)
    if out.exists():
        raise SystemExit(f"{out} is there already; a stored ledger is not made anew.")
    with tempfile.TemporaryDirectory() as folder:
        ledger = make(Path(folder) / "ledger.duckdb")
        ledger.lease.drop_if_idle()
        out.parent.mkdir(exist_ok=True)
        out.write_bytes(lzma.compress(Path(ledger.name).read_bytes(), preset=9))
    print(f"Wrote {out} ({out.stat().st_size} bytes) on {dt.date.today()}")


if __name__ == "__main__":
    main()
