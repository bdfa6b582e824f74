"""Many viewers and imports for half an hour: no error, memory that stays flat, and answers equal to a fresh server's.

python -m tests.torture.soak --minutes 30 --viewers 25

A viewer opens a page, waits for its panels one after the other, reads them, and opens the next; another program brings
a sheet in every minute. It passes when no view and no import fails or is told to wait too long, when the median of the
memory in the last third of the time is within a tenth of that in the middle third, and when every panel is answered as
a server answers it that was started afterwards.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.imports.add import add_sheets, undo_import
from evenfoot.analytics.ledger.integrity.verify import verify
from tests.panel_requests import request_for
from tests.ports import free_port
from tests.torture.imports import sheet_of

FAILED = "could not be drawn because of an error"
"""What a panel says when something in it raised."""

BUSY = "try again"
FLAT = 1.10
"""The median of the memory in the last third may be so much more than in the middle third."""

BEGINS = 300.0
"""Seconds that a server may take to begin, on a machine that has much else to do."""

LONG_ENOUGH = 10.0
"""Minutes. In less a server is still loading what it works with, and its memory is only told."""

READING = (20.0, 60.0)
"""Seconds a viewer looks at a page before the next. [common practice, no source]"""

BETWEEN_IMPORTS = 60.0
"""Seconds."""

FARMS = ("", "?farms=Larkmoor", "?farms=Nether+Ash", "?farms=Larkmoor&lesions=SU", "?lesions=DD", "?visits=all")


_MOMENT = re.compile(r"\d{8}T\d{6}Z")
"""A calendar file says when it was made."""


class Server:
    """The dashboard on a ledger, in a process of its own."""

    def __init__(self, ledger: Path) -> None:
        port = free_port()
        self.address = f"http://127.0.0.1:{port}"
        words = [
            "-c",
            "from evenfoot.dashboard.cli.main import main; main()",
            "serve",
            "--ledger",
            str(ledger),
            "--port",
            str(port),
        ]
        self.log = tempfile.TemporaryFile("w+")  # noqa: SIM115
        self.process = subprocess.Popen([sys.executable, *words], stdout=self.log, stderr=self.log)
        until = time.monotonic() + BEGINS
        while time.monotonic() < until and self.process.poll() is None:
            try:
                urlopen(self.address, timeout=5).close()
                break
            except (URLError, OSError):
                time.sleep(0.1)

    def panel(self, name: str, path: str, search: str) -> str:
        """What the server sends for one panel."""
        with urlopen(request_for(self.address, name, path, search), timeout=120) as answer:
            return str(answer.read().decode())

    def memory(self) -> float:
        """Megabytes in use now."""
        lines = Path(f"/proc/{self.process.pid}/status").read_text().splitlines()
        return int(next(line for line in lines if line.startswith("VmRSS")).split()[1]) / 1024

    def stop(self) -> str:
        self.process.terminate()
        self.process.wait(30)
        self.log.seek(0)
        return self.log.read()


class Soak:
    """What viewers and the importer have in common."""

    def __init__(self, server: Server, ledger: Ledger, seed: int) -> None:
        from evenfoot.dashboard.pages import PAGES

        self.server, self.ledger, self.seed = server, ledger, seed
        self.pages = [[(panel.name, path) for panel in page.panels] for path, page in PAGES.items() if page.panels]
        self.panels = [panel for page in self.pages for panel in page]
        self.end = threading.Event()
        self.views = self.busy = self.imports = self.undone = 0
        self.errors: list[str] = []
        self.times: list[float] = []

    def view(self, number: int) -> None:
        """One viewer: a page, a look at it, the next. They do not all come at once."""
        chance = random.Random(self.seed + number)
        self.end.wait(chance.uniform(0, READING[0]))
        while not self.end.is_set():
            search = chance.choice(FARMS)
            for name, path in chance.choice(self.pages):
                if not self.end.is_set():
                    self.look(name, path, search)
            self.end.wait(chance.uniform(*READING))

    def look(self, name: str, path: str, search: str) -> None:
        """One panel."""
        began = time.monotonic()
        try:
            text = self.server.panel(name, path, search)
        except (URLError, OSError, ValueError) as error:
            self.errors.append(f"{name} {search}: {error}")
            return
        self.times.append(time.monotonic() - began)
        self.views += 1
        if FAILED in text:
            self.errors.append(f"{name} {search}: {FAILED}")
        elif BUSY in text:
            self.busy += 1

    def bring_in(self) -> None:
        """Another program brings sheets in and takes some back."""
        turn = 1000
        while not self.end.wait(BETWEEN_IMPORTS):
            turn += 1
            try:
                done = add_sheets(self.ledger, [sheet_of(turn, 60)], f"{turn}.csv", "0" * 64)
                self.imports += 1
                if turn % 3 == 0:
                    undo_import(self.ledger, done.import_no)
                    self.undone += 1
            except UserError as mistake:
                self.errors.append(f"import {turn}: {mistake}")


def differences(one: Server, other: Server, panels: list[tuple[str, str]], chance: random.Random) -> list[str]:
    """Panels that the two servers do not answer alike."""
    out = []
    for name, path in panels:
        search = chance.choice(FARMS)
        # As data: in which order a component's attributes are written differs from one process to the next.
        ours, theirs = (json.loads(_MOMENT.sub("", server.panel(name, path, search))) for server in (one, other))
        if ours != theirs:
            out.append(f"{name} {search}: the answer differs from a fresh server's")
    return out


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=30)
    parser.add_argument("--viewers", type=int, default=25)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    from evenfoot.dashboard.cli.demo import build

    folder = Path(tempfile.mkdtemp(prefix="evenfoot-soak-"))
    ledger = build(str(folder / "ledger.duckdb"))
    server = Server(folder / "ledger.duckdb")
    soak = Soak(server, ledger, asked.seed)
    threads = [threading.Thread(target=soak.view, args=(number,)) for number in range(asked.viewers)]
    threads.append(threading.Thread(target=soak.bring_in))
    for thread in threads:
        thread.start()
    memory: list[float] = []
    until = time.monotonic() + asked.minutes * 60
    while time.monotonic() < until and server.process.poll() is None:
        time.sleep(min(5.0, max(until - time.monotonic(), 0)))
        memory.append(server.memory())
        if len(memory) % 12 == 0:
            now = f"{soak.views} views, {soak.imports} imports, {memory[-1]:.0f} MB, load {os.getloadavg()[0]:.1f}"
            print(f"{len(memory) / 12:.0f} min: {now}", flush=True)
    soak.end.set()
    for thread in threads:
        thread.join(130)
    fresh_path = folder / "fresh.duckdb"
    ledger.lease.drop_if_idle()
    with ledger.lease.still() as file, fresh_path.open("wb") as copy:
        shutil.copyfileobj(file, copy)
    fresh = Server(fresh_path)
    wrong = list(soak.errors) + differences(server, fresh, soak.panels, random.Random(asked.seed))
    wrong += [str(finding) for finding in verify(ledger).findings]
    fresh.stop()
    log = server.stop()
    if "Traceback" in log:
        wrong.append(f"the server's log: {log[-2000:]}")
    third = max(len(memory) // 3, 1)
    middle, last = statistics.median(memory[third : 2 * third] or memory), statistics.median(memory[-third:])
    if last > middle * FLAT and asked.minutes >= LONG_ENOUGH:
        wrong.append(f"memory grew from {middle:.0f} to {last:.0f} MB")
    for what in wrong[:20]:
        print(f"soak: WRONG: {what}", file=sys.stderr)
    times = sorted(soak.times) or [0.0]
    at = f"median {statistics.median(times):.2f} s, p95 {times[int(len(times) * 0.95)]:.2f} s"
    seen = f"{soak.views} views ({at}), {soak.busy} told to wait"
    print(f"soak: {asked.minutes:g} min, {asked.viewers} viewers, {seen}")
    print(
        f"soak: {soak.imports} imports, {soak.undone} undone; {len(soak.panels)} panels compared with a fresh server's"
    )
    at = f"{memory[0] if memory else 0:.0f} MB at first, {max(memory, default=0):.0f} at most"
    print(f"soak: memory {at}, {middle:.0f} in the middle third, {last:.0f} in the last")
    print(f"soak: {'nothing lost' if not wrong else f'{len(wrong)} things wrong'}")
    shutil.rmtree(folder, ignore_errors=True)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
