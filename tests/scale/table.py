"""The one table that the benchmarks print, a line as soon as it is known."""

from __future__ import annotations

import math
import os
import statistics
import time
from collections.abc import Callable, Sequence
from typing import Any

WIDTH = 66


def head(text: str) -> None:
    """A heading, with the load of the machine beside it: a figure taken beside other work says less."""
    load = f"load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    print(f"\n{text:<{WIDTH}}{load:>14}", flush=True)


def line(what: str, value: str, beside: str = "") -> None:
    """One line: what was measured, the figure, and what it stands beside."""
    print(f"  {what:<{WIDTH - 2}}{value:>14}  {beside}", flush=True)


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    """Seconds a piece of work takes, and what it gives."""
    start = time.perf_counter()
    out = work()
    return time.perf_counter() - start, out


def best(work: Callable[[], Any], repeats: int = 3) -> tuple[float, Any]:
    """The shortest of some runs, which other work on the machine has disturbed least."""
    runs = [timed(work) for _ in range(repeats)]
    return min(seconds for seconds, _ in runs), runs[-1][1]


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
