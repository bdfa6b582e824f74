"""One cow: everything recorded of her, newest first."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
import pandas as pd
from dash import html

from analytics.ledger import Ledger
from analytics.measures.answer import Answer, Basis
from analytics.tally.cows import cow_names, one_cow
from dashboard.charts.cow import timeline
from dashboard.charts.labels import value_label
from dashboard.page import Page
from dashboard.panel import Drawn, Panel, mark, number_table
from dashboard.span import span_of
from dashboard.view import View

ASK = "Choose a cow above, or follow a cow from another page."
FINDING_COLUMNS = (
    "visit_date", "foot", "claw", "zone", "lesion", "lesion_detail", "dd_stage", "severity", "action", "recheck_on",
    "trimmer",
)  # fmt: skip
HORN_COLUMNS = (
    "visit_date", "foot", "claw", "toe_length_mm", "toe_length_after_mm", "toe_angle_deg", "heel_depth_mm",
    "sole_thickness_mm", "shed_stage", "toe_break_mm",
)  # fmt: skip


def _frames(ledger: Ledger, view: View) -> dict[str, pd.DataFrame] | None:
    cow = view.options.get("cow")
    if not cow or view.farm is None:
        return None
    return one_cow(ledger, view.farm, cow, view.selection.allowed)


def _answer(frames: dict[str, pd.DataFrame], table: pd.DataFrame) -> Answer:
    days = pd.concat([frames["trims"]["visit_date"], frames["scores"]["visit_date"]])
    basis = Basis(
        farms=1,
        visits=int(frames["trims"]["visit_date"].nunique()),
        cows=1 if len(days) else 0,
        trims=len(frames["trims"]),
        first=days.min().date() if len(days) else None,
        last=days.max().date() if len(days) else None,
        unit="trim",
    )
    return Answer("cow", table, basis)


def _who(ledger: Ledger, view: View) -> Any:
    frames = _frames(ledger, view)
    if frames is None:
        return html.P(ASK, className="empty")
    if frames["cows"].empty:
        return html.P(f"There is no cow {view.options['cow']} at {view.farm} in the records.", className="empty")
    cow = frames["cows"].iloc[0]
    newest = pd.concat([frames["trims"], frames["scores"]]).sort_values("visit_date", ascending=False)
    lines = [f"{len(frames['trims'])} trims, {len(frames['findings'])} findings, {len(frames['scores'])} scorings."]
    facts = []
    if pd.notna(cow["breed"]):
        facts.append(str(cow["breed"]))
    if pd.notna(cow["sire"]):
        facts.append(f"sire {cow['sire']}")
    if pd.notna(cow["birth_date"]):
        facts.append(f"born {cow['birth_date']:%d %b %Y}")
    if len(frames["calvings"]):
        facts.append(f"calved {len(frames['calvings'])} times, last {frames['calvings']['calved_on'].iloc[0]:%d %b %Y}")
    if pd.notna(cow["left_on"]):
        facts.append(f"left the herd {cow['left_on']:%d %b %Y}")
    if len(newest):
        latest = newest.iloc[0]
        facts += [f"group {latest['group']}"] if pd.notna(latest["group"]) else []
        facts += [value_label("housing", latest["housing"]).lower()] if pd.notna(latest["housing"]) else []
    if facts:
        lines.insert(0, ", ".join(facts) + ".")
    words = [html.P(line, className="lead") for line in lines]
    if len(frames["scores"]) and frames["scores"]["severe"].iloc[0] == 1:
        words.append(html.P("She was severely lame when last scored: ask your veterinarian.", className="caution"))
    return [html.H3(f"Cow {cow['cow']}, {cow['farm']}"), *words]


def _timeline(ledger: Ledger, view: View) -> Any:
    frames = _frames(ledger, view)
    if frames is None or (frames["trims"].empty and frames["scores"].empty):
        return html.P(ASK if frames is None else "Nothing is recorded of her yet.", className="empty")
    answer = _answer(frames, _events(frames))

    def closer(row: dict[str, Any]) -> dict[str, str]:
        """A finding leads to all cows that have it there, a scoring to who was lame in its month."""
        if "lesion" not in row:
            return mark(view.open("/locomotion", span=span_of("month", row["visit_date"])))
        place = {
            field: (row[name],) if pd.notna(row[name]) else ()
            for field, name in (("feet", "foot"), ("claws", "claw"), ("zones", "zone"))
        }
        return mark(view.open("/lesions", lesions=(row["lesion"],), **place))

    return Drawn(
        timeline(frames, **view.look, drill=closer),
        answer,
        f"Timeline of cow {view.options['cow']} at {view.farm}: {len(frames['trims'])} trims, "
        f"{len(frames['findings'])} findings and {len(frames['scores'])} scorings. The numbers are in the table below.",
    )


def _events(frames: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """All that happened to her, one row an event, newest first."""
    parts = [
        pd.DataFrame({"day": f[column], "event": name, "what": f.apply(words, axis=1) if len(f) else []})
        for name, f, column, words in (
            ("Finding", frames["findings"], "visit_date", _finding_words),
            ("Scored", frames["scores"], "visit_date", lambda r: f"{r['score']} on the {r['scale']} scale"),
            ("Calved", frames["calvings"], "calved_on", lambda r: ""),
            ("Moved", frames["moves"], "moved_on", lambda r: f"to {r['group']}"),
        )
    ]
    clean = frames["trims"][~frames["trims"]["visit_date"].isin(frames["findings"]["visit_date"])]
    parts.append(pd.DataFrame({"day": clean["visit_date"], "event": "Trimmed", "what": "nothing found"}))
    filled = [part for part in parts if len(part)]
    events = pd.concat(filled, ignore_index=True) if filled else parts[0]
    return events.sort_values("day", ascending=False, kind="stable").reset_index(drop=True)


def _finding_words(row: pd.Series) -> str:
    parts = [value_label("lesion", row["lesion"])]
    parts += [value_label(name, row[name]) for name in ("foot", "claw", "zone", "dd_stage") if pd.notna(row[name])]
    if pd.notna(row["severity"]):
        parts.append(value_label("severity", int(row["severity"])))
    return ", ".join(parts)


def _rows(name: str, columns: tuple[str, ...], caption: str, none: str) -> Any:
    def draw(ledger: Ledger, view: View) -> Any:
        frames = _frames(ledger, view)
        if frames is None:
            return html.P(ASK, className="empty")
        frame = frames[name]
        if frame.empty:
            return html.P(none, className="empty")
        shown = [column for column in columns if frame[column].notna().any()]
        return number_table(frame[shown], None, caption)

    return draw


def _choices(ledger: Ledger, view: View) -> Any:
    if view.farm is None:
        return html.P("Choose a farm first; then its cows can be chosen here.", className="empty")
    names = cow_names(ledger, view.farm, view.selection.allowed)
    return html.Div(
        dmc.Select(
            label="Cow",
            id={"type": "choice", "field": "cow"},
            data=[{"value": name, "label": name} for name in names],
            value=view.options.get("cow"),
            searchable=True,
            limit=60,
            placeholder="Type her number",
            nothingFoundMessage="No such cow",
        ),
        className="choices",
    )


def _trail(view: View) -> list[tuple[str, str]]:
    cow = view.options.get("cow")
    if not cow or not view.selection.lesions:
        return []
    up = view.changed(path="/lesions", cow=None)
    return [("Back to the lesion and its cows", up.href), (f"Cow {cow}", view.href)]


PAGE = Page(
    path="/cow",
    title="Cow",
    question="Everything recorded of one cow: trims, lesions by foot, scores, calvings, horn.",
    choices=_choices,
    trail=_trail,
    panels=(
        Panel("cow-who", "Who she is", _who, wide=True),
        Panel(
            "cow-timeline",
            "Her time line",
            _timeline,
            "Every record as its sheet had it; nothing is estimated.",
            wide=True,
        ),
        Panel(
            "cow-findings",
            "Findings",
            _rows("findings", FINDING_COLUMNS, "Findings", "No lesion is recorded of her."),
            wide=True,
        ),
        Panel(
            "cow-horn",
            "Horn",
            _rows("horn_readings", HORN_COLUMNS, "Horn", "No horn measurement is recorded of her."),
            wide=True,
        ),
    ),
)
