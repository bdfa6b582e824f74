"""One cow over time: trims, findings by foot, locomotion scores, calvings, what was done, and housing."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from evenfoot.analytics.domain.feet import FEET, FOOT_NAMES
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.messages import N_, say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.charts.frame import framed, nothing_to_show, records
from evenfoot.dashboard.charts.labels import date_label, lesion_label, value_label
from evenfoot.dashboard.charts.rules import put_across, put_down
from evenfoot.dashboard.charts.theme import Tokens, between, tokens
from evenfoot.dashboard.i18n.translation import _, told

LANE = 44
NARROW_LANE = 46
LABEL_SHARE = 0.035
NARROW_LABEL_SHARE = 0.11
"""Share of the time shown that an abbreviation takes up; where the next finding is nearer, it is left out."""

FIGURE_SHARE, NARROW_FIGURE_SHARE = 0.021, 0.06
"""Share of the time shown that the figure of a score takes up; scores nearer to each other are small, without one."""

FAMILY_MARKERS = {
    "infectious": "circle",
    "horn": "diamond",
    "skin growth": "square",
    "shape": "triangle-up",
    "other": "cross",
}

CowDrill = Callable[[dict[str, Any]], dict[str, Any]]


def timeline(
    frames: Mapping[str, pd.DataFrame],
    *,
    theme: str = "paper",
    narrow: bool = False,
    title: str | None = "",
    drill: CowDrill | None = None,
) -> plain.Figure:
    """Lanes of one cow, oldest at the left.

    Parameters
    ----------
    frames : mapping of str to pandas.DataFrame
        trims, findings, scores, calvings and, where known, moves, as
        :func:`evenfoot.analytics.queries.cows.one_cow` gives them. Housing is what the sheets say at each visit.
    theme, narrow, title
        As in the other charts.
    drill : callable, optional
        From a finding or scoring to what its mark carries when it is clicked.

    Returns
    -------
    evenfoot.dashboard.charts.plain.Figure
    """
    days = _days(frames)
    if not len(days):
        answer = Answer("cow", pd.DataFrame(), Basis(), (say("Nothing is recorded of this cow yet."),))
        return nothing_to_show(answer, theme=theme, narrow=narrow, title=title or "")
    lanes = _lanes(frames)
    place = {name: -i - 0.12 * narrow for i, (name, _said) in enumerate(lanes)}
    t = tokens(theme)
    figure = plain.Figure()
    _visit_lines(figure, frames["trims"], t)
    _housing(figure, frames, place, t, narrow)
    room = (days.max() - days.min()) * (NARROW_LABEL_SHARE if narrow else LABEL_SHARE)
    traces = [
        _calvings(frames["calvings"], place["calvings"], t),
        *_scores(frames["scores"], place["scores"], t, drill, narrow, days.max() - days.min()),
        *_findings(frames["findings"], place, t, drill, room),
        _actions(frames["findings"], place["action"], t),
    ]
    figure.add_traces([trace for trace in traces if trace is not None and len(trace.x)])
    _lane_names(figure, lanes, t, narrow)
    edge = max(pd.Timedelta(days=20), (days.max() - days.min()) * 0.04)
    figure.update_xaxes(
        range=[days.min() - edge, days.max() + edge * (2.5 if narrow else 1.2)],
        showgrid=False,
        type="date",
        tickformat="%b\n%Y",
        nticks=5 if narrow else 12,
    )
    figure.update_yaxes(range=[-len(lanes) + 0.45, 0.55 + 0.15 * narrow], showgrid=False, ticks="", zeroline=False)
    basis = Basis(farms=1, cows=1, first=days.min().date(), last=days.max().date())
    return framed(
        figure,
        Answer("cow", frames["findings"], basis),
        title=title or "",
        theme=theme,
        narrow=narrow,
        height=(NARROW_LANE if narrow else LANE) * len(lanes),
        notes=_key(frames),
        legend_lines=0 if frames["findings"].empty else 1 + narrow,
        shown=N_("every record"),
    )


def _key(frames: Mapping[str, pd.DataFrame]) -> list[str]:
    """What the abbreviations and marks on the lanes mean."""
    codes = list(dict.fromkeys(frames["findings"]["lesion"].dropna())) if len(frames["findings"]) else []
    notes = [", ".join(f"{code} {lesion_label(code).lower()}" for code in codes) + "."] if codes else []
    if len(frames["scores"]):
        notes.append(_("Scores: filled is lame, square is severely lame."))
    return [" ".join(notes)] if notes else []


def _days(frames: Mapping[str, pd.DataFrame]) -> pd.Series:
    parts = [
        pd.to_datetime(frames[name][column])
        for name, column in (("trims", "visit_date"), ("scores", "visit_date"), ("calvings", "calved_on"))
        if name in frames and len(frames[name])
    ]
    return pd.concat(parts).dropna() if parts else pd.Series(dtype="datetime64[us]")


def _lanes(frames: Mapping[str, pd.DataFrame]) -> list[tuple[str, str]]:
    feet: list[tuple[str, str]] = [(foot, f"<b>{told(foot)}</b> {_(FOOT_NAMES[foot])}") for foot in FEET]
    findings = frames["findings"]
    loose: list[tuple[str, str]] = []
    if len(findings) and findings["foot"].isna().any():
        loose = [("no foot", _("Foot not recorded"))]
    return [
        ("housing", _("Housing")),
        ("calvings", _("Calvings")),
        ("scores", _("Locomotion score")),
        *feet,
        *loose,
        ("action", _("What was done")),
    ]


def _lane_names(figure: plain.Figure, lanes: list[tuple[str, str]], t: Tokens, narrow: bool) -> None:
    put_across(figure, [-i - 0.5 for i in range(len(lanes))], {"color": t.rule, "width": 0.6})
    if not narrow:
        figure.update_yaxes(
            tickmode="array",
            tickvals=[-i for i in range(len(lanes))],
            ticktext=[words for _name, words in lanes],
            tickfont={"color": t.ink, "size": 12.5},
        )
        return
    figure.update_yaxes(showticklabels=False)
    for i, (_name, words) in enumerate(lanes):
        figure.add_annotation(
            text=words,
            x=0,
            xref="paper",
            xanchor="left",
            y=-i + 0.5,
            yanchor="top",
            showarrow=False,
            font={"size": 11, "color": t.muted},
        )


def _visit_lines(figure: plain.Figure, trims: pd.DataFrame, t: Tokens) -> None:
    put_down(figure, sorted(set(pd.to_datetime(trims["visit_date"]))), {"color": t.rule, "width": 1.2})


def _housing(
    figure: plain.Figure, frames: Mapping[str, pd.DataFrame], place: dict[str, float], t: Tokens, narrow: bool
) -> None:
    """Bars from the first record of a housing to the next that says another."""
    parts = [f[["visit_date", "housing"]] for f in (frames["trims"], frames["scores"]) if "housing" in f]
    known = pd.concat(parts).dropna() if parts else pd.DataFrame(columns=["visit_date", "housing"])
    known = known.assign(visit_date=pd.to_datetime(known["visit_date"])).sort_values("visit_date")
    known = known.drop_duplicates("visit_date")
    if known.empty:
        return
    run = (known["housing"] != known["housing"].shift()).cumsum()
    spans = known.groupby(run).agg(housing=("housing", "first"), start=("visit_date", "min"), end=("visit_date", "max"))
    kinds = list(dict.fromkeys(spans["housing"]))
    ends = [*spans["start"].iloc[1:], spans["end"].iloc[-1] + pd.Timedelta(days=3)]
    y = place["housing"]
    bars: list[dict[str, Any]] = []
    for row, end in zip(records(spans), ends, strict=True):
        bars.append(
            {
                "type": "rect",
                "x0": row["start"],
                "x1": end,
                "y0": y - 0.17,
                "y1": y + 0.17,
                "fillcolor": t.faint if kinds.index(row["housing"]) % 2 == 0 else t.rule,
                "line": {"color": t.muted, "width": 0.8},
                "layer": "below",
            }
        )
        words = value_label("housing", row["housing"])
        long_enough = (end - row["start"]) > (ends[-1] - spans["start"].iloc[0]) * (0.42 if narrow else 0.12)
        figure.add_trace(
            plain.scatter(
                x=[row["start"] + (end - row["start"]) / 2],
                y=[y],
                mode="text" if long_enough else "markers",
                text=[words],
                textfont={"size": 11, "color": t.ink},
                marker={"size": 18, "opacity": 0},
                hovertemplate=f"<b>{words}</b><br>{between(date_label(row['start']), date_label(end))}"
                f"<br>{_('as the sheets say at each visit')}<extra></extra>",
                showlegend=False,
            )
        )
    figure.add_shapes(bars)


def _calvings(calvings: pd.DataFrame, y: float, t: Tokens) -> plain.Part:
    days = pd.to_datetime(calvings["calved_on"]) if len(calvings) else pd.Series(dtype="datetime64[us]")
    return plain.scatter(
        x=days,
        y=[y] * len(days),
        mode="markers",
        marker={"symbol": "star", "size": 12, "color": t.ink},
        hovertext=[f"<b>{_('Calved')}</b><br>{date_label(day)}" for day in days],
        hovertemplate="%{hovertext}<extra></extra>",
        showlegend=False,
    )


def _crowded(days: pd.Series, room: pd.Timedelta) -> pd.Series:
    """Whether a day lies nearer than *room* to another."""
    order = days.sort_values()
    before = order.diff() < room
    return (before | before.shift(-1, fill_value=False)).reindex(days.index)


def _scores(
    scores: pd.DataFrame, y: float, t: Tokens, drill: CowDrill | None, narrow: bool, span: pd.Timedelta
) -> list[plain.Part]:
    """The score as a figure, filled where lame and ringed twice where severely lame."""
    out = []
    days = pd.to_datetime(scores["visit_date"])
    scores = scores.assign(crowded=_crowded(days, span * (NARROW_FIGURE_SHARE if narrow else FIGURE_SHARE)))
    for lame in (0, 1):
        part = scores[scores["lame"].fillna(0).astype(int) == lame]
        severe = part["severe"].fillna(0).astype(int)
        state = {0: _("not lame"), 1: _("lame"), 2: _("severely lame")}
        hover = [
            f"<b>{_('Score {score} on the {scale} scale', score=r['score'], scale=r['scale'])}</b>: "
            f"{state[lame + int(r['severe'] == 1)]}<br>{date_label(r['visit_date'])}"
            for r in records(part)
        ]
        out.append(
            plain.scatter(
                x=pd.to_datetime(part["visit_date"]),
                y=[y] * len(part),
                mode="markers+text",
                text=[
                    "" if close else str(int(score))
                    for score, close in zip(part["score"], part["crowded"], strict=True)
                ],
                textfont={"size": 10 if narrow else 11, "color": t.raised if lame else t.ink},
                marker={
                    "symbol": ["square" if each else "circle" for each in severe],
                    "size": [9 if close else 15 if narrow else 19 for close in part["crowded"]],
                    "color": t.accent if lame else t.raised,
                    "line": {"color": t.ink, "width": 1},
                },
                hovertext=hover,
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=[drill(row) for row in records(part)] if drill else None,
                showlegend=False,
            )
        )
    return out


def _findings(
    findings: pd.DataFrame, place: dict[str, float], t: Tokens, drill: CowDrill | None, room: pd.Timedelta
) -> list[plain.Part]:
    """One mark a lesion, foot and day, with its abbreviation where there is room."""
    if findings.empty:
        return []
    rows = findings.assign(
        visit_date=pd.to_datetime(findings["visit_date"]), lane=findings["foot"].fillna("no foot")
    ).sort_values(["lane", "visit_date"], kind="stable")
    nth = rows.groupby(["lane", "visit_date"]).cumcount()
    many = rows.groupby(["lane", "visit_date"])["lesion"].transform("size")
    days = rows[["lane", "visit_date"]].drop_duplicates()
    days = days.assign(to_next=days.groupby("lane")["visit_date"].shift(-1) - days["visit_date"])
    to_next = rows[["lane", "visit_date"]].merge(days, how="left")["to_next"].set_axis(rows.index)
    rows = rows.assign(
        y=rows["lane"].map(place) + (nth - (many - 1) / 2) * 0.26,
        label=rows["lesion"].where(to_next.isna() | (to_next > room), ""),
    )
    out = []
    for number, (family, part) in enumerate(rows.groupby("family", sort=True)):
        colour = t.series[number % len(t.series)]
        out.append(
            plain.scatter(
                x=part["visit_date"],
                y=part["y"],
                mode="markers+text",
                text=list(part["label"]),
                textposition="middle right",
                textfont={"size": 11, "color": t.ink},
                marker={
                    "symbol": FAMILY_MARKERS.get(str(family), "cross"),
                    "size": [10 if pd.isna(severity) else 6 + 3 * int(severity) for severity in part["severity"]],
                    "color": colour,
                    "opacity": 1,
                    "line": {"color": t.raised, "width": 1},
                },
                name=value_label("family", family),
                hovertext=[_finding_words(row) for row in records(part)],
                hovertemplate="%{hovertext}<extra></extra>",
                customdata=[drill(row) for row in records(part)] if drill else None,
                showlegend=True,
            )
        )
    return out


def _finding_words(row: dict[str, Any]) -> str:
    lines = [f"<b>{lesion_label(str(row['lesion']))}</b>"]
    where = [value_label(name, row.get(name)) for name in ("foot", "claw", "zone")]
    lines.append(", ".join(word for word in where if word))
    for name in ("severity", "dd_stage"):
        if not pd.isna(row.get(name)):
            lines.append(f"{_('Severity') if name == 'severity' else _('Stage')} {row[name]}")
    lines.append(date_label(row["visit_date"]))
    return "<br>".join(line for line in lines if line)


def _actions(findings: pd.DataFrame, y: float, t: Tokens) -> plain.Part | None:
    """What was done, once a day; trimming alone is said by the line of the visit."""
    if findings.empty:
        return None
    done = findings[findings["action"].notna() & (findings["action"] != "trim")]
    if done.empty:
        return None
    days = pd.to_datetime(done["visit_date"])
    by_day = done.assign(day=days).groupby("day")
    words = [
        "<br>".join(
            f"{value_label('action', action)} ({value_label('foot', foot) or _('foot not recorded')})"
            for action, foot in zip(group["action"], group["foot"], strict=True)
        )
        for _day, group in by_day
    ]
    unique = pd.Series(list(by_day.groups))
    return plain.scatter(
        x=unique,
        y=[y] * len(unique),
        mode="markers",
        marker={"symbol": "hexagon", "size": 12, "color": t.raised, "line": {"color": t.ink, "width": 1.6}},
        hovertext=[f"<b>{date_label(day)}</b><br>{text}" for day, text in zip(unique, words, strict=True)],
        hovertemplate="%{hovertext}<extra></extra>",
        showlegend=False,
    )
