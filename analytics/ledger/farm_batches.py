"""Farms a few at a time, so that what is worked out between for all of their rows stays in memory."""

from __future__ import annotations

from collections.abc import Iterable, Iterator


def farms_together(farms: Iterable[tuple[str, int]], most: int) -> Iterator[list[str]]:
    """Farms and their numbers of rows, as many farms at a time as have *most* rows together, and at least one."""
    together: list[str] = []
    rows = 0
    for farm, count in farms:
        if together and rows + count > most:
            yield together
            together, rows = [], 0
        together.append(farm)
        rows += count
    if together:
        yield together
