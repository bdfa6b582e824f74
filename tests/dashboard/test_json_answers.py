"""``--format json`` holds the whole answer of every measure: table, basis, cautions and every side table."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import math
import re
from typing import Any

import numpy as np
import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.measures.catalogue import MEASURES, answer
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.ui.tables import WHOLE, as_json, print_table, printable

KEYS = ["measure", "by", "table", "basis", "cautions", "extra"]

ONE_FARM = ("visit-review", "worklist", "plan", "quality", "drivers", "change-impact")
OPTIONS: dict[str, dict[str, Any]] = {
    "change-impact": {"change": dt.date(2025, 5, 1)},
    "comparison": {"by": ("housing",), "adjust": ("parity",), **WHOLE["comparison"]},
}
NOT_OF_DEMO = ("agreed", "herd-counts")
"""Measures of records that the demo herds do not have."""
SIDE_TABLES = {
    "comparison": {"herd_model", "by_lesion"},
    "shedding": {"model"},
    "family": {"heritability"},
    "recurrence": {"curve", "log_rank"},
    "change-impact": {"curve", "series"},
}
"""Some of what stands beside the table of a measure."""


def read(result: Answer) -> dict[str, Any]:
    def refuse(word: str) -> None:
        raise AssertionError(f"{word} is not JSON")

    whole: dict[str, Any] = json.loads(as_json(result), parse_constant=refuse)
    return whole


@pytest.mark.parametrize("name", list(MEASURES))
def test_json_holds_all_of_an_answer(demo_ledger: Ledger, name: str) -> None:
    selection = Selection(farms=("Nether Ash",) if name in ONE_FARM else ())
    result = answer(name, demo_ledger, selection, **OPTIONS.get(name, {}))
    assert result.table.empty == (name in NOT_OF_DEMO)
    said = read(result)
    assert list(said) == KEYS
    assert said["measure"] == name and said["by"] == list(result.by)
    assert said["cautions"] == list(result.cautions)
    assert list(said["basis"]) == [each.name for each in dataclasses.fields(Basis)]
    for field in dataclasses.fields(Basis):
        value = getattr(result.basis, field.name)
        expected = list(value) if isinstance(value, tuple) else str(value) if isinstance(value, dt.date) else value
        assert said["basis"][field.name] == expected
    assert set(said["extra"]) == set(result.extra) >= SIDE_TABLES.get(name, set())
    for rows, frame in [
        (said["table"], result.table),
        *((said["extra"][key], result.extra[key]) for key in result.extra),
    ]:
        _same(rows, frame)


def _same(rows: list[dict[str, Any]], frame: pd.DataFrame) -> None:
    """Every cell of a frame is in the rows: numbers to the last digit, days as dates, missing cells as null."""
    assert len(rows) == len(frame)
    assert len(set(map(str, frame.columns))) == len(frame.columns)
    # An index that says something would be lost.
    assert frame.index.equals(pd.RangeIndex(len(frame)))
    for column in frame.columns:
        got = [row[str(column)] for row in rows]
        if pd.api.types.is_datetime64_any_dtype(frame[column]):
            assert got == [None if pd.isna(label) else label for label in printable(frame[[column]])[column]]
            assert all(re.fullmatch(r"\d{4}-(\d\d(-\d\d)?|Q\d)", label) for label in got if label is not None)
        elif pd.api.types.is_numeric_dtype(frame[column]):
            numbers = frame[column].to_numpy(dtype=float, na_value=np.nan)
            assert [math.nan if one is None else float(one) for one in got] == pytest.approx(
                np.where(np.isfinite(numbers), numbers, np.nan).tolist(), abs=0, rel=0, nan_ok=True
            )
        else:
            assert all(
                a == str(b) if b is not None and not pd.isna(b) else a is None
                for a, b in zip(got, frame[column], strict=True)
            )


def test_values_of_every_sort_become_json() -> None:
    frame = pd.DataFrame(
        {
            "day": [dt.date(2026, 3, 14), None],
            "at": [pd.Timestamp("2026-03-14 08:30"), pd.Timestamp("2026-03-14")],
            "quarter": [pd.Timestamp("2026-04-01"), pd.NaT],
            "n": pd.array([3, None], dtype="Int64"),
            "share": [np.inf, 0.1 + 0.2],
            "pair": [("a", 1.5), [np.int64(2), np.nan]],
            "yes": [True, False],
        }
    ).astype({"at": object})
    said = read(Answer("made up", frame, Basis(first=dt.date(2026, 1, 2)), extra={"none": frame.head(0)}))
    assert said["table"] == [
        {"day": "2026-03-14", "at": "2026-03-14T08:30:00", "quarter": "2026-Q2", "n": 3, "share": None,
         "pair": ["a", 1.5], "yes": True},
        {"day": None, "at": "2026-03-14", "quarter": None, "n": None, "share": 0.1 + 0.2, "pair": [2, None],
         "yes": False},
    ]  # fmt: skip
    assert said["basis"]["first"] == "2026-01-02" and said["basis"]["last"] is None
    assert said["extra"] == {"none": []}


def test_the_command_prints_the_herd_model_and_every_lesion(
    demo_ledger: Ledger, capsys: pytest.CaptureFixture[str]
) -> None:
    options = {"by": "housing", "adjust": "parity"}
    print_table(
        "comparison", demo_ledger.name, farms=[], since=None, until=None, visits="whole-herd", lesions=[],
        hemisphere="north", format="json", options=options,
    )  # fmt: skip
    extra = json.loads(capsys.readouterr().out)["extra"]
    assert {"term", "estimate", "low", "high", "p_value"} <= set(extra["herd_model"][0])
    assert len({row["lesion"] for row in extra["by_lesion"]}) > 5
