"""A drawing as SVG text that stands in the page itself: it prints sharp, and needs nothing from anywhere."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from html import escape

INK, MUTED, RULE, FAINT = "#22272B", "#545C62", "#D9D5CC", "#F1EEE6"
"""The ink of the paper theme."""

FIRST, SECOND = "#22272B", "#0072B2"


@dataclass
class Picture:
    """Marks on a drawing, in order.

    Parameters
    ----------
    width, height : float
        In points of the drawing; the page scales it to the room there is.
    words : str
        What a reader who cannot see it is told. Without words the drawing is left out for such a reader, because
        the text beside it says the same.
    """

    width: float
    height: float
    words: str = ""
    marks: list[str] = field(default_factory=list)

    def line(
        self, x1: float, y1: float, x2: float, y2: float, *, ink: str = INK, wide: float = 1.0, dash: str = ""
    ) -> None:
        broken = f' stroke-dasharray="{dash}"' if dash else ""
        self.marks.append(
            f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{ink}" '
            f'stroke-width="{wide:g}"{broken}/>'
        )

    def path(self, points: Iterable[tuple[float, float]], *, ink: str = INK, wide: float = 1.0, dash: str = "") -> None:
        """An open line through points."""
        broken = f' stroke-dasharray="{dash}"' if dash else ""
        steps = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self.marks.append(
            f'<polyline points="{steps}" fill="none" stroke="{ink}" stroke-width="{wide:g}" '
            f'stroke-linejoin="round"{broken}/>'
        )

    def area(self, points: Iterable[tuple[float, float]], *, fill: str, ink: str = "none", wide: float = 0.6) -> None:
        """A closed, filled shape."""
        steps = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
        self.marks.append(
            f'<polygon points="{steps}" fill="{fill}" stroke="{ink}" stroke-width="{wide:g}" stroke-linejoin="round"/>'
        )

    def mark(self, x: float, y: float, shape: str, *, size: float = 3.4, ink: str = INK, fill: str = "") -> None:
        """A marker: circle, diamond, square or ring (a circle with a white middle)."""
        if shape in ("circle", "ring"):
            inside = "#FFFFFF" if shape == "ring" else fill or ink
            self.marks.append(
                f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:g}" fill="{inside}" stroke="{ink}" stroke-width="1.2"/>'
            )
            return
        far = size * (1.25 if shape == "diamond" else 0.95)
        corners = {
            "diamond": [(x, y - far), (x + far, y), (x, y + far), (x - far, y)],
            "square": [(x - far, y - far), (x + far, y - far), (x + far, y + far), (x - far, y + far)],
        }[shape]
        self.area(corners, fill=fill or ink, ink=ink, wide=1.2)

    def text(
        self,
        x: float,
        y: float,
        said: str,
        *,
        size: float = 9.0,
        ink: str = MUTED,
        at: str = "start",
        bold: bool = False,
    ) -> None:
        """Words, their baseline at *y*; *at* is start, middle or end."""
        heavy = ' font-weight="600"' if bold else ""
        self.marks.append(
            f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size:g}" fill="{ink}" text-anchor="{at}"{heavy}>'
            f"{escape(said)}</text>"
        )

    def svg(self, *, css: str = "") -> str:
        """The drawing as an ``svg`` element.

        Examples
        --------
        >>> Picture(10, 5, "a line").svg().startswith('<svg viewBox="0 0 10 5" role="img" aria-label="a line"')
        True
        """
        told = f'role="img" aria-label="{escape(self.words, quote=True)}"' if self.words else 'aria-hidden="true"'
        named = f' class="{css}"' if css else ""
        return f'<svg viewBox="0 0 {self.width:g} {self.height:g}" {told}{named}>{"".join(self.marks)}</svg>'


def nice_top(most: float, steps: int = 4) -> tuple[float, float]:
    """The end of an axis of shares that holds *most*, and the step between its ticks.

    Examples
    --------
    >>> nice_top(0.31), nice_top(0.02), nice_top(0.97)
    ((0.4, 0.1), (0.02, 0.005), (1.0, 0.25))
    """
    for step in (0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.25):
        if most <= step * steps + 1e-9:
            return min(step * steps, 1.0), step
    return 1.0, 0.25
