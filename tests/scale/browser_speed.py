"""How quick the dashboard is in a real Chromium, on the demo herds: ``python -m tests.scale.browser_speed``.

Prints, for a server that has answered nothing yet and a browser that has the scripts, the time from the start of
the navigation until every panel in the first window is filled; then, for every page and drill of one reader, the
time from the click until the first window and the whole page are filled, p50 and p95; and the weight of the pages
over the wire. Times depend on the machine and on what else it does,
so the load is printed beside them, and the processor time of server and browser, which depends on it less.
"""

from __future__ import annotations

import argparse
import os
import statistics
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, sync_playwright

from evenfoot.dashboard.cli.demo import build
from evenfoot.dashboard.pages import PAGES
from tests.browser.conftest import FLAGS, find_browser, start_server
from tests.browser.reading import Reader

FARM = "Larkmoor"
OTHER = "Nether+Ash"
DRILLS = (
    "/lesions?farms={farm}&lesions=SU",
    "/lesions?farms={farm}&lesions=SU&feet=RH&claws=lateral",
    "/lesions?farms={farm}&lesions=SU&feet=RH&claws=lateral&zones=4",
    "/lesions?farms={farm}&lesions=DD",
    "/warning?farms={farm}&lesions=WL",
    "/comparison?farms={farm}&by=season",
    "/comparison?farms={farm}&by=parity&lesions=DD",
    "/change?farms={farm}&lesions=DD",
    "/cow?farms={farm}&cow={cow}&lesions=SU",
    "/today?farms={farm}&since=2025-11-01&until=2026-10-31",
)
"""Each is opened after the page it begins with, the last one at the end."""


def p95(values: Sequence[float]) -> float:
    return sorted(values)[max(0, round(0.95 * len(values)) - 1)]


def spread(values: Sequence[float]) -> str:
    return f"p50 {statistics.median(values):6.0f} ms, p95 {p95(values):6.0f} ms ({len(values)} views)"


def load() -> str:
    return f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors"


def processor_seconds(pid: int) -> float:
    """Processor time of a process and its threads."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def renderers() -> dict[int, float]:
    """Processor time of this machine's Chromium renderers started by this process's browser."""
    out = {}
    for stat in Path("/proc").glob("[0-9]*/cmdline"):
        try:
            words = stat.read_bytes()
            if b"--type=renderer" in words and _ours(int(stat.parent.name)):
                out[int(stat.parent.name)] = processor_seconds(int(stat.parent.name))
        except (FileNotFoundError, ProcessLookupError):
            continue
    return out


def _ours(pid: int) -> bool:
    while pid > 1:
        if pid == os.getpid():
            return True
        pid = int(Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[1])
    return False


class Weight:
    """Bytes over the wire, as the browser counts them."""

    def __init__(self, reader: Reader) -> None:
        self.bytes, self.requests = 0, 0
        link = reader.context.new_cdp_session(reader.page)
        link.send("Network.enable")
        link.on("Network.loadingFinished", self._add)

    def _add(self, event: dict[str, Any]) -> None:
        self.bytes += int(event["encodedDataLength"])
        self.requests += 1

    def since(self) -> str:
        out = f"{self.bytes / 1024:7.0f} KiB in {self.requests} requests"
        self.bytes = self.requests = 0
        return out


def walk(cow: str) -> list[str]:
    """The addresses of one reader's way through all pages, each page followed by the drills from it."""
    drills = [drill.format(farm=FARM, cow=cow) for drill in DRILLS]
    out = []
    for path in PAGES:
        out.append(f"{path}?farms={FARM}" + (f"&cow={cow}" if path == "/cow" else ""))
        out += [drill for drill in drills[:-1] if drill.startswith(f"{path}?")]
    return [*out, drills[-1]]


def first_views(browser: Browser, ledger: Path, times: int) -> None:
    """A fresh server each time; the browser has the scripts from an earlier visit."""
    profile = Reader(browser, "http://127.0.0.1", 1280)
    seen: list[float] = []
    weight = Weight(profile)
    for turn in range(times + 1):
        process, address = start_server(ledger, port=8399)
        try:
            profile.address = address
            profile.page.goto(f"{address}/today?farms={FARM}")
            window, whole = profile.settle(300)
            if turn:
                seen.append(window)
            browser_has = "the scripts" if turn else "nothing"
            print(
                f"  browser has {browser_has:<12} first window {window:6.0f} ms, "
                f"whole page {whole:6.0f} ms, {weight.since()}, {load()}",
                flush=True,
            )
        finally:
            process.terminate()
            process.wait()
    profile.close()
    print(f"first view, cold server, warm browser: {spread(seen)}")


def later_views(browser: Browser, ledger: Path, think: float) -> None:
    """Every page and drill of one reader who looks *think* seconds at each, for the first time and then once more.

    Nothing but the reader's looking tells the server what comes next: no hand rests on a link before it is opened.
    """
    print(f"A reader who looks {think:g} s at a page:")
    process, address = start_server(ledger)
    try:
        reader = Reader(browser, address, 1280)
        reader.open(f"/today?farms={OTHER}")
        time.sleep(6)
        addresses = walk("1022")
        reader.open(addresses[2])  # The first two are one page: the bare address of a farm leads to its day.
        every: list[float] = []
        for name in ("first time", "again"):
            windows, wholes = [], []
            served, drawn = processor_seconds(process.pid), sum(renderers().values())
            for path in addresses[1:] + addresses[:1]:
                time.sleep(think)
                at = processor_seconds(process.pid)
                reader.follow(path)
                window, whole = reader.settle(250)
                windows.append(window)
                wholes.append(whole)
                used = (processor_seconds(process.pid) - at) * 1000
                print(f"  {path:<64} {window:6.0f} {whole:6.0f} ms, server {used:5.0f} ms of processor", flush=True)
            count = len(windows)
            every += windows
            print(f"later views, {name}, first window: {spread(windows)}; {load()}")
            print(f"later views, {name}, whole page:   {spread(wholes)}")
            print(
                f"processor time a view: server {(processor_seconds(process.pid) - served) / count * 1000:.0f} ms, "
                f"browser {(sum(renderers().values()) - drawn) / count * 1000:.0f} ms"
            )
        print(f"later views, all of them, first window: {spread(every)}")
        reader.close()
    finally:
        process.terminate()
        process.wait()


def main() -> int:
    """Measure and print; gives the exit code."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--times", type=int, default=5, help="cold servers")
    asked.add_argument("--think", type=float, nargs="*", default=(1.0, 4.0), help="seconds a reader looks at a page")
    given = asked.parse_args()
    path = find_browser()
    if path is None:
        print("No Chromium, Chrome or Edge on this machine.")
        return 2
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        ledger = build(str(Path(folder) / "demo.duckdb"))
        ledger.lease.drop_if_idle()
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        first_views(browser, Path(ledger.name), given.times)
        for think in given.think:
            later_views(browser, Path(ledger.name), think)
        browser.close()
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
