"""The tables of the workbook, from the same answers as the printed report; the report's own farm only."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.visits import ACTIONS
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts.agreed import since_said
from evenfoot.dashboard.charts.labels import VERDICTS
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.agreed_section import agreed_rows
from evenfoot.dashboard.report.contents import Contents
from evenfoot.dashboard.report.cow_lists import reason_words
from evenfoot.dashboard.report.herd_sections import HORN_ROWS
from evenfoot.dashboard.report.lesion_sections import VISIT_NAMES

CASES = ["cases", "at_risk", "prevalence", "low", "high"]
WHO = {"veterinarian": "veterinarian", "trimmer": "trimmer", "watch": "to watch"}
STATES = {"overdue": say("Overdue"), "open": say("Open"), "done": say("Done")}
LIMBS = {"front": "front feet", "hind": "hind feet"}


@dataclass(frozen=True)
class Sheet:
    """One table of the workbook: a name, and columns that :data:`columns.COLUMNS` explains."""

    name: str
    title: str
    table: pd.DataFrame


def sheets_of(contents: Contents, words: Words) -> list[Sheet]:
    """Every table with something in it."""
    made = [
        Sheet("visits", "Visits", _visits(contents, words)),
        Sheet("lesions", "Lesions", _lesions(contents, words)),
        Sheet("claws", "Claws", _claws(contents, words)),
        Sheet("zones", "Zones", _zones(contents, words)),
        Sheet("locomotion", "Locomotion", _locomotion(contents)),
        Sheet("horn", "Horn", _horn(contents, words)),
        Sheet("shedding", "Shedding", _shedding(contents)),
        Sheet("cows", "Cows", _cows(contents, words)),
        Sheet("found", say("Found at the newest visit"), _found(contents, words)),
        Sheet("agreed", "What was agreed", _agreed(contents, words)),
        Sheet("signals", say("Signals, lameness"), _signals(contents, "control", words)),
        Sheet("signals lesions", say("Signals, lesions"), _signals(contents, "control lesions", words)),
        Sheet("changes", "Changes", _changes(contents, words)),
        Sheet("benchmark", "Beside other herds", _benchmark(contents)),
        Sheet("cost", "Cost", _cost(contents, words)),
    ]
    return [sheet for sheet in made if len(sheet.table)]


NOTHING = pd.DataFrame()


def _texts(said: Iterable[str | None]) -> Any:
    """A column of text with gaps."""
    return np.array(list(said), dtype=object)


def _visits(contents: Contents, words: Words) -> pd.DataFrame:
    answer = contents.get("visit")
    if answer is None:
        return NOTHING
    out = answer.table.assign(
        lesion=[words.lesion(code) for code in answer.table["lesion"]],
        visit=[words(VISIT_NAMES[name]) for name in answer.table["visit"]],
        verdict=_texts(words.said(VERDICTS[name]) if name in VERDICTS else None for name in answer.table["verdict"]),
        reason=_texts(words.said(one) if one else None for one in answer.table["reason"]),
    )
    return out[["lesion", "visit", "first", "last", *CASES, "verdict", "reason"]]


def _lesions(contents: Contents, words: Words) -> pd.DataFrame:
    whole, each = contents.get("any"), contents.get("lesions")
    if whole is None or not whole.basis.cows:
        return NOTHING
    parts = [whole.table.assign(lesion="any")] + ([each.table] if each is not None else [])
    out = pd.concat(parts, ignore_index=True).sort_values("cases", ascending=False, kind="stable")
    out = out.assign(lesion=[words.lesion(code) for code in out["lesion"]])
    return out[["lesion", *CASES, "n_visits"]]


def _claws(contents: Contents, words: Words) -> pd.DataFrame:
    answer = contents.get("claws")
    if answer is None:
        return NOTHING
    out = answer.table.assign(
        limb=[words(LIMBS[name]) for name in answer.table["limb"]],
        claw=[words.claw(name) for name in answer.table["claw"]],
    )
    return out[["limb", "claw", *CASES]]


def _zones(contents: Contents, words: Words) -> pd.DataFrame:
    answer = contents.get("zones")
    if answer is None:
        return NOTHING
    out = answer.table.assign(
        foot=[words.foot(name) for name in answer.table["foot"]],
        claw=_texts(words.claw(name) if isinstance(name, str) else None for name in answer.table["claw"]),
        zone=[words.zone(int(zone)) for zone in answer.table["zone"]],
    )
    return out[["foot", "claw", "zone", *CASES]]


def _locomotion(contents: Contents) -> pd.DataFrame:
    answer = contents.get("locomotion")
    if answer is None:
        return NOTHING
    shares = [f"{what}{end}" for what in ("lame", "severe") for end in ("", "_prevalence", "_low", "_high")]
    return answer.table[["period", "scored", *shares, "cows"]]


def _horn(contents: Contents, words: Words) -> pd.DataFrame:
    answer = contents.get("horn")
    if answer is None:
        return NOTHING
    out = answer.table[answer.table["measure"].isin(list(HORN_ROWS))]
    out = out.assign(
        measure=[words(HORN_ROWS[name]) for name in out["measure"]], unit=[words(unit) for unit in out["unit"]]
    )
    out = out.rename(columns={"low": "mean_low", "high": "mean_high"})
    return out[["measure", "n", "mean", "mean_low", "mean_high", "sd", "median", "cows", "unit"]]


def _shedding(contents: Contents) -> pd.DataFrame:
    answer = contents.get("shedding")
    if answer is None:
        return NOTHING
    return answer.table[["shed_stage", "feet", "seen", "share", "low", "high", "cows"]]


def _cows(contents: Contents, words: Words) -> pd.DataFrame:
    answer = contents.get("worklist")
    if answer is None:
        return NOTHING
    out = answer.table.assign(
        who=[words(WHO[name]) for name in answer.table["who"]],
        reason=[reason_words(*pair, words) for pair in zip(answer.table["kinds"], answer.table["reason"], strict=True)],
    )
    out = _named(out, words)
    about = ["foot", "claw", "lesion", "action", "recheck_on", "also"]
    return out[["rank", "cow", "due_on", "who", "reason", *about, "group", "days_in_milk", "looked_on"]]


def _found(contents: Contents, words: Words) -> pd.DataFrame:
    return NOTHING if contents.found.empty else _named(contents.found, words)


def _named(rows: pd.DataFrame, words: Words) -> pd.DataFrame:
    """Rows with the place, the lesion and what was done in words."""
    return rows.assign(
        lesion=_texts(None if pd.isna(code) else words.lesion(code) for code in rows["lesion"]),
        claw=_texts(None if pd.isna(claw) else words.claw(claw) for claw in rows["claw"]),
        action=_texts(None if pd.isna(each) else words.said(ACTIONS.get(each, each)) for each in rows["action"]),
        also=_texts(words.said(one) if isinstance(one, str) else None for one in rows["also"]),
    )


def _agreed(contents: Contents, words: Words) -> pd.DataFrame:
    rows = pd.DataFrame(agreed_rows(contents))
    if rows.empty:
        return NOTHING
    out = rows.rename(columns={"who": "by_whom", "due_on": "due_by"})
    out = out.assign(
        lesion=_texts(words.lesion(code) if isinstance(code, str) else None for code in rows["lesion"]),
        state=[words(STATES[name]) for name in rows["state"]],
        since=_texts(since_said(row, words) or None for row in agreed_rows(contents)),
    )
    told = ["agreed_on", "text", "by_whom", "due_by", "lesion", "place", "state", "done_on", "outcome", "since"]
    return out[told]


def _signals(contents: Contents, key: str, words: Words) -> pd.DataFrame:
    answer = contents.get(key)
    if answer is None:
        return NOTHING
    out = answer.table.assign(signal=_texts(words.said(one) if one else None for one in answer.table["signal"]))
    return out[["month", "cases", "at_risk", "prevalence", "centre", "lower", "upper", "signal"]]


def _changes(contents: Contents, words: Words) -> pd.DataFrame:
    parts = []
    for place, change in enumerate(contents.changes.to_dict("records")):
        answer: Answer | None = contents.get(f"change {place}")
        if answer is not None:
            parts.append(answer.table.assign(date=change["date"], what=change["what"]))
    if not parts:
        return NOTHING
    out = pd.concat(parts, ignore_index=True).rename(columns={"low": "est_low", "high": "est_high"})
    out = out.assign(term=[words(str(term)) for term in out["term"]])
    return out[["date", "what", "term", "estimate", "est_low", "est_high", "p_value"]]


def _benchmark(contents: Contents) -> pd.DataFrame:
    answer = contents.get("benchmark")
    if answer is None or answer.table["rank"].isna().all():
        return NOTHING
    out = answer.table[answer.table["farm"] == contents.request.farm].assign(farms=len(answer.table))
    return out[["farms", *CASES, "shrunken", "shrunken_low", "shrunken_high", "rank", "rank_low", "rank_high"]]


def _cost(contents: Contents, words: Words) -> pd.DataFrame:
    answer = contents.get("cost")
    if answer is None:
        return NOTHING
    out = answer.table.rename(columns={"low": "cost_low", "high": "cost_high"})
    out = out.assign(lesion=[words.lesion(code) for code in out["lesion"]])
    prices = ["cost", "cost_low", "cost_high", "cost_a_case", "currency", "saving_if_halved", "price_from"]
    return out[["lesion", "cases", *prices]]
