"""Every panel asked with odd options in the address: none takes long, fills the memory, or fails.

A panel answers with its contents or with one sentence; an error of the program is neither. ``--times`` asks so often
by chance; ``--all`` asks every panel with every option, once with an odd value of each sort.
"""

from __future__ import annotations

import argparse
import itertools
import logging
import random
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from evenfoot import sample_data
from evenfoot.analytics.intake import check_file
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.analytics.measures.cache import forget
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.pages import PAGES, PANELS
from evenfoot.dashboard.ui.view import OPTIONS
from tests.auth.asking import contents
from tests.engines.panels import FAILED, office_of
from tests.torture.any_bytes import memory
from tests.torture.forked import Tally, run, start

SLOWEST = 10.0
"""Seconds of a processor that one panel may take."""

MOST_MEMORY = 500.0
"""Megabytes that one panel may add to the most the program has had."""

LARGEST_FILE = 300_000
"""Bytes of the files of the demo herds that are taken."""

NAMES = (*(name for name in Selection.__dataclass_fields__ if name != "allowed"), *OPTIONS)
"""Every option of an address."""

SORTS: dict[str, tuple[str, ...]] = {
    "nothing": ("", " ", "none", "{}"),
    "number": ("0", "-1", "1", "9" * 30, "1e308", "nan", "inf", "1.5", "\u0663", "9999", "0000"),
    "word": (
        "x", "any", "all", "cow", "trim", "foot", "claw", "DD", "SU", "housing", "season", "group", "parity", "farm",
        "zone", "severity", "long",
    ),
    "date": (
        "9999-12-31", "0001-01-01", "2026-02-30", "2026-10-31", "2031-12-31", "1980-01-01", "2026", "2026-Q1",
        "2026-03-02T00:00",
    ),
    "sign": (
        "'", '"', "'; DROP TABLE trims; --", "%", "_", "\0", "\u202e", "\ud7ff", "{0}", "../x", "<b>x</b>", "=1+1",
    ),
    "length": ("a" * 400, "a" * 100_000),
}  # fmt: skip
"""Odd values by their sort. Two sorts more are made for each option: a value of its own (``own``), and very many
values (``many``)."""

ODD = tuple(value for values in SORTS.values() for value in values)

PLACES = tuple((panel.name, page.path) for page in PAGES.values() for panel in page.panels)
"""Panel and the path of its page."""

MANY = (2, 300, 5000)

BATCH = 3000
"""Addresses that one program is asked for, before what came of them is told."""


def every(real: dict[str, tuple[str, ...]], cows: list[tuple[str, str]]) -> list[tuple[str, str, str]]:
    """Panel, path and search: every panel with every option and a value of each sort, which takes turns.

    Every second option stands beside a farm and a cow of it, since some panels are of one farm or cow; the next panel
    has the others so.
    """
    turns = {sort: itertools.cycle(values) for sort, values in SORTS.items()}
    own = {name: itertools.cycle(real.get(name, SORTS["word"])) for name in NAMES}
    many = itertools.cycle(MANY)
    beside = itertools.cycle(cows)
    out = []
    for at, (panel, path) in enumerate(PLACES):
        for place, name in enumerate(NAMES):
            asked = [[(name, next(values))] for values in turns.values()]
            asked += [[(name, next(own[name]))], [(name, f"{next(own[name])}{n}") for n in range(next(many))]]
            for pairs in asked:
                farm, cow = next(beside)
                of_one = [("farms", farm), ("cow", cow), ("visits", "all")] if (at + place) % 2 else []
                out.append((panel, path, urlencode([pair for pair in of_one if pair[0] != name] + pairs)))
    return out


def searches(times: int, chance: random.Random, real: dict[str, tuple[str, ...]]) -> list[tuple[str, str, str]]:
    """Panel, path and the part of an address behind the question mark: all of it by chance."""
    out = []
    for _ in range(times):
        panel, path = chance.choice(PLACES)
        pairs: list[tuple[str, str]] = []
        for _ in range(chance.randint(1, 4)):
            name = chance.choice(NAMES)
            values = (*real.get(name, ()), *real.get(name, ()), *ODD) if chance.random() < 0.8 else ("x", "y")
            many = chance.choice((1, 1, 1, 2, 300, 5000)) if chance.random() < 0.2 else 1
            pairs += [(name, chance.choice(values) + (str(n) if many > 2 else "")) for n in range(many)]
        if chance.random() < 0.5:
            pairs += [("farms", chance.choice(real["farms"])), ("cow", chance.choice(real["cow"]))]
        out.append((panel, path, urlencode(pairs)))
    return out


class _Errors(logging.Handler):
    """Errors that the program wrote down."""

    def __init__(self) -> None:
        super().__init__(logging.ERROR)
        self.said: list[str] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.said.append(self.format(record))


def asked(asks: list[tuple[str, str, str]], path: Path) -> Callable[[Callable[[Any], None]], Any]:
    """Ask them in turn; what is kept is forgotten when another panel is asked."""

    def work(tell: Callable[[Any], None]) -> None:
        office = office_of(open_ledger(str(path)), path.parent)
        browser = office.client()
        errors = _Errors()
        logging.getLogger("evenfoot").addHandler(errors)
        for name in PANELS:
            contents(office, browser, name, "")
        before = ""
        for number, (name, page, search) in enumerate(asks):
            if name != before:
                forget()
            before = name
            errors.said.clear()
            tell((number, "begun", 0.0, 0.0))
            began, had = time.process_time(), memory()
            try:
                status, text = contents(office, browser, name, search, page, narrow=number % 2 == 0)
                failed = status != 200 or FAILED in text
                outcome = errors.said[0] if errors.said else f"{status}: {text[:300]}" if failed else "answered"
            except BaseException as error:
                outcome = repr(error)
            tell((number, outcome, time.process_time() - began, memory() - had))

    return work


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--all", action="store_true", help="every panel and option, once with each sort of value")
    parser.add_argument("--after", type=int, default=0, metavar="N", help="leave out the first N addresses")
    times, chance, folder = start(3000, parser)
    tally = Tally("options")
    path = folder / "demo.duckdb"

    def make(_tell: Callable[[Any], None]) -> Any:
        ledger = open_ledger(str(path))
        for number, file in enumerate(file for file in sample_data.FILES if file.stat().st_size < LARGEST_FILE):
            add_sheets(ledger, check_file(file, file.name, known_farms=ledger.farms()), file.name, f"{number:064}")
        farms = tuple(ledger.farms())
        some = "SELECT DISTINCT farm, cow FROM trims ORDER BY hash(farm || cow) LIMIT 20"
        pairs = list(ledger.frame(some, []).itertuples(index=False, name=None))
        cows = tuple(cow for _, cow in pairs)
        return pairs, {
            "farms": farms, "cow": cows, "cows": cows, "zones": ("4", "12"), "feet": ("LH",), "claws": ("medial",),
            "on": ("2026-11-01", "2031-12-31"), "since": ("2025-01-01",), "until": ("2026-06-30",),
            "visits": ("all", "lame-cow"), "lesions": ("DD", "SU"), "change": ("2026-01-01",),
            "by": ("housing", "season"), "day_off": ("2026-12-24",), "cows_a_day": ("1", "1000"),
        }  # fmt: skip

    cows, real = run(make).result
    options = parser.parse_args()
    asks = every(real, cows) if options.all else searches(times, chance, real)
    slowest = most = 0.0
    whole = len(asks)
    asks = asks[options.after :]
    while asks:
        print(
            f"options: {whole - len(asks)} of {whole}, slowest {slowest:.2f} s, most memory {most:.0f} MB", flush=True
        )
        batch = asks[:BATCH]
        told = run(asked(batch, path), limit=max(120.0, SLOWEST * 12 * len(batch)))
        done = 0
        for number, outcome, seconds, grown in told.said:
            if outcome == "begun":
                continue
            done = number + 1
            slowest, most = max(slowest, seconds), max(most, grown)
            wrong = "" if outcome == "answered" else outcome
            if seconds > SLOWEST or grown > MOST_MEMORY:
                wrong += f" took {seconds:.1f} s and {grown:.0f} MB"
            if wrong:
                tally.fail(f"{asks[number][0]} of {asks[number][1]}?{asks[number][2][:300]}: {wrong}")
            tally.add("answered" if not wrong else "wrong")
        if told.crash or told.mistake:
            tally.fail(f"{asks[done]!r:.400}: {told.crash or told.mistake}")
            done += 1
        asks = asks[done:]
    print(f"options: slowest {slowest:.2f} s, most memory {most:.0f} MB", flush=True)
    return tally.finish()


if __name__ == "__main__":
    sys.exit(main())
