"""Work done in a child process that can be killed at any moment, from a parent that never opens a ledger itself.

The parent loads the program once and forks, so that hundreds of children cost no start-up each. It keeps no engine
threads of its own, which a fork would leave in an unknown state.
"""

from __future__ import annotations

import argparse
import atexit
import os
import pickle
import random
import resource
import select
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

# Loaded before forking: a child that has become nobody may not be able to read where they are.
import duckdb  # noqa: F401
import pandas  # noqa: F401
import pyarrow.pandas_compat  # noqa: F401

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import derive, file_copy, migrations  # noqa: F401
from evenfoot.analytics.ledger.imports import add as adding  # noqa: F401
from evenfoot.analytics.ledger.integrity import backup, verify  # noqa: F401

Work = Callable[[Callable[[Any], None]], Any]
"""Takes a function that tells the parent something at once; what it returns is told last."""


class Told:
    """What a child said before it ended, and how it ended."""

    def __init__(self) -> None:
        self.said: list[Any] = []
        self.result: Any = None
        self.mistake: str | None = None
        self.crash: str | None = None
        self.killed = False


def run(work: Work, *, kill_after: float | None = None, limit: float = 600.0, nobody: bool = False) -> Told:
    """Do *work* in a child. ``kill -9`` it so many seconds after it says that it is ready, if asked to."""
    out, into = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(out)
        _be_the_child(work, into, nobody)
    os.close(into)
    told = Told()
    end = time.monotonic() + limit
    kill_at = None
    rest = b""
    while True:
        now = time.monotonic()
        if kill_at is not None and now >= kill_at and not told.killed:
            os.kill(child, signal.SIGKILL)
            told.killed = True
        if now > end:
            os.kill(child, signal.SIGKILL)
            told.crash = f"not finished after {limit:.0f} s"
            break
        wait = min(end, kill_at if kill_at is not None and not told.killed else end) - now
        ready, _, _ = select.select([out], [], [], max(wait, 0))
        if not ready:
            continue
        piece = os.read(out, 1 << 16)
        if not piece:
            break
        rest += piece
        while len(rest) >= 8 and len(rest) >= 8 + (size := int.from_bytes(rest[:8], "big")):
            kind, value = pickle.loads(rest[8 : 8 + size])
            rest = rest[8 + size :]
            if kind == "said":
                told.said.append(value)
                if kill_at is None and kill_after is not None:
                    kill_at = time.monotonic() + kill_after
            else:
                setattr(told, kind, value)
    os.close(out)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status) and not told.killed and told.crash is None:
        told.crash = f"ended by signal {os.WTERMSIG(status)}"
    return told


def run_together(works: list[Work], limit: float = 1000.0) -> list[Told]:
    """Do several pieces of work at once, each in a child of its own."""
    children = []
    for work in works:
        out, into = os.pipe()
        child = os.fork()
        if child == 0:
            os.close(out)
            _be_the_child(work, into, False)
        os.close(into)
        children.append((child, out))
    end = time.monotonic() + limit
    return [_collected(child, out, end) for child, out in children]


def _collected(child: int, out: int, end: float) -> Told:
    told = Told()
    content = b""
    while True:
        ready, _, _ = select.select([out], [], [], max(end - time.monotonic(), 0))
        if not ready:
            os.kill(child, signal.SIGKILL)
            told.crash = "not finished in time"
            break
        piece = os.read(out, 1 << 16)
        if not piece:
            break
        content += piece
    os.close(out)
    os.waitpid(child, 0)
    while len(content) >= 8:
        size = int.from_bytes(content[:8], "big")
        kind, value = pickle.loads(content[8 : 8 + size])
        content = content[8 + size :]
        if kind == "said":
            told.said.append(value)
        else:
            setattr(told, kind, value)
    return told


def _be_the_child(work: Work, into: int, nobody: bool) -> None:
    def send(kind: str, value: Any) -> None:
        data = pickle.dumps((kind, value))
        os.write(into, len(data).to_bytes(8, "big") + data)

    try:
        if nobody and os.getuid() == 0:
            os.setgroups([])
            os.setgid(65534)
            os.setuid(65534)
        send("result", work(lambda value: send("said", value)))
    except UserError as mistake:
        send("mistake", str(mistake))
    except BaseException:
        send("crash", traceback.format_exc())
    os._exit(0)


@contextmanager
def no_file_beyond(size: int) -> Iterator[None]:
    """No file may grow beyond *size* bytes, as on a disk that is full."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


class Tally:
    """How often what was tried, and what came of it."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.counts: Counter[str] = Counter()
        self.wrong: list[str] = []

    def add(self, what: str) -> None:
        self.counts[what] += 1

    def fail(self, what: str) -> None:
        self.wrong.append(what)
        print(f"{self.name}: WRONG: {what}", file=sys.stderr, flush=True)

    def finish(self) -> int:
        print(f"{self.name}: " + ", ".join(f"{what}: {n}" for what, n in sorted(self.counts.items())))
        print(f"{self.name}: {'nothing lost' if not self.wrong else f'{len(self.wrong)} things wrong'}", flush=True)
        return 1 if self.wrong else 0


def start(times: int, parser: argparse.ArgumentParser | None = None) -> tuple[int, random.Random, Path]:
    """How many times, chance, and an empty folder; from the command line."""
    parser = parser or argparse.ArgumentParser()
    parser.add_argument("--times", type=int, default=times)
    parser.add_argument("--seed", type=int, default=random.randrange(10**6))
    parser.add_argument("--folder", type=Path, default=None)
    asked = parser.parse_args()
    print(f"seed {asked.seed}, {asked.times} times", flush=True)
    if asked.folder:
        asked.folder.mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(prefix="evenfoot-torture-", dir=asked.folder))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return asked.times, random.Random(asked.seed), folder
