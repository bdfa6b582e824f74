"""A line as small as a word, for the cell of a table: how a share went, without axes."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote

WIDTH, HEIGHT, DOT = 96, 20, 2.5
"""Pixels."""


def small_line(shares: Sequence[float], color: str) -> str:
    """A picture of shares in their order as the address of an image; the newest has a dot.

    Parameters
    ----------
    shares : sequence of float
        From 0 to 1, oldest first; not a number where nothing is known, which leaves a gap.
    color : str
        CSS color of the line.

    Returns
    -------
    str
        A ``data:`` address of an SVG; empty for fewer than two shares.
    """
    known = [(place, share) for place, share in enumerate(shares) if share == share]
    if len(known) < 2:
        return ""
    top = max(share for _, share in known) or 1.0
    across, down = (WIDTH - 2 * DOT) / (len(shares) - 1), HEIGHT - 2 * DOT
    points = [(DOT + place * across, DOT + down * (1 - share / top)) for place, share in known]
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    x, y = points[-1]
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}" viewBox="0 0 {WIDTH} {HEIGHT}">'
        f'<polyline points="{path}" fill="none" stroke="{color}" stroke-width="1.5" stroke-linejoin="round"/>'
        f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{DOT}" fill="{color}"/></svg>'
    )
    return "data:image/svg+xml," + quote(svg)
