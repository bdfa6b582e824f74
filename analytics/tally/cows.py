"""Single cows: the list of those a selection finds, and everything recorded of one."""

from __future__ import annotations

from collections import defaultdict

import pandas as pd

from analytics.ledger import Ledger
from analytics.tally.engine import Question, built_once, fetch, fetch_many, question_of, table
from analytics.tally.narrow import findings, of_farm_and_period
from analytics.tally.selection import Selection


def cows_found(ledger: Ledger, selection: Selection) -> pd.DataFrame:
    """Cows that are a case in the selection, those with most findings first.

    Returns
    -------
    pandas.DataFrame
        farm, cow, findings (rows), visits (days with a finding), worst (highest severity), last
        (newest finding), lesions and feet (distinct, comma between).
    """
    frames = fetch_many(ledger, _found(selection))
    words, frame = frames["words"], frames["cows"]
    if frame.empty:
        return frame.assign(lesions=pd.Series(dtype="str"), feet=pd.Series(dtype="str"))
    cows = list(zip(frame["farm"], frame["cow"], strict=True))
    named: dict[str, dict[tuple[str, str], set[str]]] = {"lesion": defaultdict(set), "foot": defaultdict(set)}
    for farm, cow, *met in words[["farm", "cow", *named]].itertuples(index=False):
        for name, word in zip(named, met, strict=True):
            if isinstance(word, str):
                named[name][farm, cow].add(word)
    lesions, feet = ([", ".join(sorted(each[cow])) for cow in cows] for each in named.values())
    frame = frame.assign(lesions=pd.Series(lesions, dtype="str"), feet=pd.Series(feet, dtype="str"))
    return frame.sort_values(["findings", "last", "farm", "cow"], ascending=[False, False, True, True]).reset_index(
        drop=True
    )


@built_once
def _found(selection: Selection) -> dict[str, Question]:
    found = findings(selection)
    out = found.group_by(["farm", "cow"]).agg(
        findings=found.count(),
        visits=found.visit_date.nunique(),
        worst=found.severity.max(),
        last=found.visit_date.max(),
    )
    words = found.select("farm", "cow", "lesion", "foot").distinct()
    return {"cows": question_of(out), "words": question_of(words)}


def one_cow(ledger: Ledger, farm: str, cow: str, allowed: tuple[str, ...] | None = None) -> dict[str, pd.DataFrame]:
    """Everything recorded of one cow, newest first: the only row-level data that leaves the engine.

    Returns
    -------
    dict of str to pandas.DataFrame
        ``trims``, ``findings``, ``scores``, ``horn_readings``, ``calvings``, ``moves``, ``cows`` and
        ``trim_rows`` (the rows as the sheets said them), each narrowed to the cow.
    """
    selection = Selection(farms=(farm,), cows=(cow,), visits=("all",), allowed=allowed)
    undated = allowed is None or farm in allowed
    frames = fetch_many(ledger, _everything_of(selection) | (_undated_of(selection) if undated else {}))
    for name, column in (("calvings", "calved_on"), ("moves", "moved_on")):
        if name in frames:
            frames[name] = frames[name].sort_values(column, ascending=False).reset_index(drop=True)
    for name in ("trims", "findings", "scores", "horn_readings", "trim_rows"):
        if name in frames:
            frames[name] = frames[name].sort_values("visit_date", ascending=False).reset_index(drop=True)
    return frames


@built_once
def _everything_of(selection: Selection) -> dict[str, Question]:
    dated = ("trims", "findings", "scores", "horn_readings")
    return {name: question_of(of_farm_and_period(name, selection)) for name in dated}


@built_once
def _undated_of(selection: Selection) -> dict[str, Question]:
    bases = {name: table(name) for name in ("calvings", "moves", "cows", "trim_rows")}
    return {
        name: question_of(base.filter(base.farm.isin(selection.farms), base.cow.isin(selection.cows)))
        for name, base in bases.items()
    }


def cow_names(ledger: Ledger, farm: str, allowed: tuple[str, ...] | None = None) -> list[str]:
    """The cows of a farm, in the order a person counts (2 before 10)."""
    if allowed is not None and farm not in allowed:
        return []
    names = fetch(ledger, _names(Selection(farms=(farm,))))["cow"].tolist()
    return sorted(names, key=lambda name: (0, int(name), name) if name.isdigit() else (1, 0, name))


@built_once
def _names(selection: Selection) -> Question:
    base = table("cows")
    return question_of(base.filter(base.farm.isin(selection.farms)).select("cow").distinct())
