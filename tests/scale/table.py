"""The one table that the benchmarks print, a line as soon as it is known."""

from __future__ import annotations

import math
import os
import statistics
import time
from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

WIDTH = 66


def head(text: str) -> None:
    """A heading, with the load of the machine beside it: a figure taken beside other work says less."""
    load = f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    print(f"\n{text:<{WIDTH}}{load:>14}", flush=True)


def line(what: str, value: str, beside: str = "") -> None:
    """One line: what was measured, the figure, and what it stands beside."""
    print(f"  {what:<{WIDTH - 2}}{value:>14}  {beside}", flush=True)


class Cost(NamedTuple):
    """Seconds by the clock, and seconds of work by all threads, which other work on the machine hardly changes."""

    clock: float
    work: float

    def beside(self, other: Cost) -> str:
        """How many times another's cost this is, by the clock and by work done."""
        return f"{self.clock / other.clock:.2f}x by the clock, {self.work / max(other.work, 1e-6):.2f}x in work"


def costed(work: Callable[[], Any]) -> tuple[Cost, Any]:
    """What a piece of work costs in this process, and what it gives."""
    start, spent = time.perf_counter(), time.process_time()
    out = work()
    return Cost(time.perf_counter() - start, time.process_time() - spent), out


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds a piece of work takes, and what it gives."""
    cost, out = costed(work)
    return cost.clock, out


QUICK = 0.25
"""Seconds below which work is quick."""

OF_QUICK = 15
"""Runs of it."""


def best(work: Callable[[], Any], repeats: int = 3, slow: float = math.inf) -> tuple[Cost, Any]:
    """The least cost of some runs, which other work on the machine has disturbed least; one of what is *slow*.

    What is quick is disturbed most, and is run more often, by whomever it is done.
    """
    runs = [costed(work)]
    repeats = max(repeats, OF_QUICK) if runs[0][0].clock < QUICK else repeats
    while len(runs) < repeats and runs[0][0].clock < slow:
        runs.append(costed(work))
    return Cost(min(cost.clock for cost, _ in runs), min(cost.work for cost, _ in runs)), runs[-1][1]


def milliseconds(seconds: float) -> str:
    """As it is printed."""
    return f"{seconds * 1000:,.1f} ms"


def percentiles(seconds: Sequence[float]) -> str:
    """The 50th, 95th and 99th percentile, in words."""
    cuts = statistics.quantiles(seconds, n=100, method="inclusive")
    return f"p50 {cuts[49] * 1000:,.0f}, p95 {cuts[94] * 1000:,.0f}, p99 {cuts[98] * 1000:,.0f} ms"


def exponent(sizes: Sequence[float], seconds: Sequence[float]) -> float:
    """The power of the size by which a time grows: the slope of the logarithms."""
    return statistics.linear_regression([math.log(s) for s in sizes], [math.log(t) for t in seconds]).slope
