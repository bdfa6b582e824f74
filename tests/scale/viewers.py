"""How long real people wait: the server's own callbacks over HTTP, asked by one, ten and fifty at the same time."""

from __future__ import annotations

import datetime as dt
import itertools
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import urlencode
from urllib.request import urlopen

from tests.browser.conftest import start_server
from tests.panel_requests import request_for
from tests.scale.ledgers import farm_name, farms_of
from tests.scale.table import head, line, milliseconds, percentiles, timed

PANELS = (
    ("lesion-types", "/lesions"),
    ("lesion-feet", "/lesions"),
    ("lesion-cows", "/lesions"),
    ("locomotion-trend", "/locomotion"),
)
ASKED = 160
"""Requests at each number of viewers."""


def panel(address: str, name: str, path: str, search: str) -> bytes:
    """What the browser asks for when a panel is to be filled.

    Raises
    ------
    SystemExit
        The answer is not a drawn panel.
    """
    with urlopen(request_for(address, name, path, search), timeout=120) as answer:
        data = bytes(answer.read())
    if b"basis" not in data or b"error in Evenfoot" in data:
        raise SystemExit(f"{name} at {path}{search} was not drawn: {data[:300]!r}")
    return data


WARM = 10.0
"""Seconds after which a server has done what it does for its first readers."""


def memory(process: int) -> float:
    """Megabytes a process holds in memory; 0 where the system does not tell."""
    status = Path(f"/proc/{process}/status")
    if not status.exists():
        return 0.0
    size = next(row for row in status.read_text().splitlines() if row.startswith("VmRSS"))
    return int(size.split()[1]) / 1024


def _fresh(farms: int) -> Iterator[dict[str, str]]:
    """Selections that nobody has asked for before, farm after farm."""
    for turn in itertools.count():
        since = dt.date(2018, 1, 1) + dt.timedelta(days=turn)
        for number in range(farms):
            yield {"farms": farm_name(number), "since": since.isoformat()}


def run(ledger: Path, findings: int) -> dict[str, float]:
    """One size: waiting times of first and repeated views; gives the 95th percentile of first views in seconds."""
    head(f"Over HTTP at {findings:,} findings")
    started, (process, address) = timed(lambda: start_server(ledger))
    line("serve: from the command to the first page answered", milliseconds(started))
    out: dict[str, float] = {}
    try:
        time.sleep(WARM)
        line("server memory, idle after its start", f"{memory(process.pid):,.0f} MB")
        fresh = _fresh(farms_of(findings))
        for name, path in PANELS:
            panel(address, name, path, "?" + urlencode(next(fresh)))
        for viewers in (1, 10, 50):

            def ask(one: tuple[tuple[str, str], dict[str, str]]) -> float:
                (name, path), words = one
                return timed(lambda: panel(address, name, path, "?" + urlencode(words)))[0]

            jobs = list(zip(itertools.islice(itertools.cycle(PANELS), ASKED), fresh, strict=False))
            with ThreadPoolExecutor(viewers) as people:
                took = sorted(people.map(ask, jobs))
                again = sorted(people.map(ask, jobs))
            out[f"one farm, first, {viewers} viewers"] = took[int(len(took) * 0.95)]
            line(f"one farm's views, each for the first time, {viewers} at once", "", percentiles(took))
            line(f"the same again, {viewers} at once", "", percentiles(again))
        for name, path in PANELS:
            times = []
            for turn in range(6):
                words = urlencode({"since": (dt.date(2018, 1, 1) + dt.timedelta(days=turn)).isoformat()})
                times.append(timed(lambda n=name, p=path, w=words: panel(address, n, p, "?" + w))[0])
            again = [timed(lambda n=name, p=path, w=words: panel(address, n, p, "?" + w))[0] for _ in range(20)]
            out[f"all farms, first, {name}"] = max(times)
            line(f"all farms, {name}, for the first time", "", percentiles(times))
            line(f"all farms, {name}, again", "", percentiles(again))
        line("server memory after these views", f"{memory(process.pid):,.0f} MB")
        time.sleep(5)
        line("server memory, idle again", f"{memory(process.pid):,.0f} MB")
    finally:
        process.terminate()
        process.wait()
    return out
