"""The few pieces of HTML a report is made of. Everything said is escaped here, whoever said it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from html import escape


@dataclass(frozen=True)
class Section:
    """A part of the report under one heading."""

    name: str
    title: str
    body: str

    def html(self) -> str:
        return f'<section id="{self.name}"><h2>{escape(self.title)}</h2>{self.body}</section>'


@dataclass(frozen=True)
class Drawn:
    """A cell that is a drawing: SVG made here, never text from a sheet."""

    svg: str


Cell = str | Drawn


def paragraph(said: str, css: str = "") -> str:
    named = f' class="{css}"' if css else ""
    return f"<p{named}>{escape(said)}</p>"


def bullets(said: Sequence[str], css: str = "") -> str:
    """A list of sentences; nothing where there are none."""
    if not said:
        return ""
    named = f' class="{css}"' if css else ""
    return f"<ul{named}>{''.join(f'<li>{escape(one)}</li>' for one in said)}</ul>"


def figure(svg: str, caption: str = "") -> str:
    """A drawing and the line under it."""
    under = f"<figcaption>{escape(caption)}</figcaption>" if caption else ""
    return f"<figure>{svg}{under}</figure>"


def table(head: Sequence[Cell], rows: Sequence[Sequence[Cell]], *, caption: str = "", css: str = "") -> str:
    """A table whose first column names the rows.

    Examples
    --------
    >>> "<7>" in table(["Cow"], [["<7>"]]), "&lt;7&gt;</th>" in table(["Cow"], [["<7>"]])
    (False, True)
    """
    named = f' class="{css}"' if css else ""
    above = f"<caption>{escape(caption)}</caption>" if caption else ""
    heads = "".join(f'<th scope="col">{_cell(one)}</th>' for one in head)
    body = "".join(
        "<tr>"
        + "".join(
            f'<th scope="row">{_cell(one)}</th>' if place == 0 else f"<td>{_cell(one)}</td>"
            for place, one in enumerate(row)
        )
        + "</tr>"
        for row in rows
    )
    # A phone scrolls the table, never the page.
    return f"<div class='wide'><table{named}>{above}<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table></div>"


def beside(left: str, right: str, css: str = "beside") -> str:
    """Two things next to each other where the paper is wide enough."""
    return f'<div class="{css}"><div>{left}</div><div>{right}</div></div>'


def _cell(cell: Cell) -> str:
    return cell.svg if isinstance(cell, Drawn) else escape(cell)
