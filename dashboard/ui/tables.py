"""``evenfoot table``: a measure printed as text, CSV or JSON."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
import math
import textwrap
from collections.abc import Mapping, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.lesions import PARENTS, understand_lesion
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.intake.parsing.farm_names import farm_finder
from evenfoot.analytics.intake.rejected_rows import safe_text
from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.catalogue import MEASURES, answer
from evenfoot.analytics.measures.periods import period_label
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.selection import Selection, read_date
from evenfoot.dashboard.ui.console import check_format, deliver, tell

WHOLE: dict[str, dict[str, Any]] = {"comparison": {"each_lesion": True}}
"""Measure -> options for the side tables that it works out only when asked to. JSON has them all."""


def print_table(
    measure: str,
    address: str | None,
    *,
    farms: Sequence[str],
    since: str | None,
    until: str | None,
    visits: str,
    lesions: Sequence[str],
    hemisphere: str,
    format: str,
    out: Path | None = None,
    options: dict[str, Any],
) -> None:
    """Work out a measure and print it; the basis and cautions of text and CSV go to standard error."""
    check_format(format)
    whole = WHOLE.get(measure, {}) if format == "json" else {}
    result = work_out(
        measure, open_ledger(address), farms=farms, since=since, until=until, visits=visits, lesions=lesions,
        hemisphere=hemisphere, options=options, whole=whole,
    )  # fmt: skip
    if format == "json":
        deliver(as_json(result) + "\n", out)
        return
    frame = printable(with_strata(result))
    deliver(rendered(frame.round(4) if format == "text" else frame, format), out)
    for sentence in [*basis_sentences(result), *_cautions(result)]:
        tell(sentence)


def rendered(frame: pd.DataFrame, format: str) -> str:
    """A table as text, CSV or JSON (a list of rows)."""
    if format == "csv":
        return csv_text(frame)
    if format == "json":
        return json.dumps(json_rows(frame), ensure_ascii=False, allow_nan=False) + "\n"
    return (frame.to_string(index=False, na_rep="-") if len(frame) else "No rows.") + "\n"


def measures_listed() -> str:
    """Every measure with its question, its own options and the columns of its table."""
    lines = [
        "Measures, with their own options and the columns of their tables. With --by the groupings stand first.",
        "",
    ]
    for name, each in MEASURES.items():
        lines += [name, f"    {each.question}"]
        lines += textwrap.wrap(" ".join(each.options), 96, initial_indent="    ", subsequent_indent="    ")
        lines += textwrap.wrap(each.columns, 96, initial_indent="    columns: ", subsequent_indent="        ")
    return "\n".join(lines)


def work_out(
    measure: str,
    ledger: Ledger,
    *,
    farms: Sequence[str] = (),
    since: str | None = None,
    until: str | None = None,
    visits: str = "whole-herd",
    lesions: Sequence[str] = (),
    hemisphere: str = "north",
    options: Mapping[str, Any],
    whole: Mapping[str, Any] = MappingProxyType({}),
) -> Answer:
    """Work out a measure from what a person wrote.

    Parameters
    ----------
    measure : str
        A name of :data:`evenfoot.analytics.measures.catalogue.MEASURES`.
    ledger : Ledger
    farms, lesions : sequence of str
        As people call them.
    since, until : str, optional
        Days such as 2026-01-31.
    visits : str
        Kinds of visit with commas between.
    hemisphere : str
    options : mapping
        The measure's own options, lists with commas between.
    whole : mapping
        Options that ask for everything the measure knows.

    Raises
    ------
    UserError
        A farm, lesion, date or option is not understood, or the measure does not take it.
    """
    selection = Selection(
        farms=known_farms(ledger, farms),
        since=read_date(since, "--since") if since else None,
        until=read_date(until, "--until") if until else None,
        visits=tuple(_split(visits)),
        lesions=tuple(lesion_code(word) for word in lesions),
        hemisphere=hemisphere,
    )
    level = options.get("level")
    if level is not None and not 0 < level < 1:
        raise UserError(f"The confidence level {level} must lie between 0 and 1, such as 0.95.")
    return answer(measure, ledger, selection, **_typed(ledger, options), **whole)


def _typed(ledger: Ledger, options: Mapping[str, Any]) -> dict[str, Any]:
    """The options as the measures take them: tuples, dates, periods and prices instead of text."""
    out = dict(options)
    for name in ("by", "adjust", "between"):
        if out.get(name):
            out[name] = tuple(_split(out[name]))
    for name in ("change", "on"):
        if out.get(name):
            out[name] = read_date(out[name], f"--{name}")
    if out.get("day_off"):
        out["day_off"] = tuple(read_date(day, "--day-off") for day in out["day_off"])
    if out.get("baseline"):
        first, dots, last = str(out["baseline"]).partition("..")
        if not dots:
            raise UserError(
                f"The baseline '{out['baseline']}' is not a period; write two dates, such as 2024-01-01..2024-12-31."
            )
        out["baseline"] = (read_date(first, "--baseline"), read_date(last, "--baseline"))
    if out.get("against"):
        [out["against"]] = known_farms(ledger, [out["against"]])
    if out.get("price"):
        out["price"] = read_prices(out["price"])
    return out


def read_prices(texts: Sequence[str]) -> dict[str, float]:
    """Prices such as SU=250, by lesion code.

    Raises
    ------
    UserError
        A price, or its lesion, cannot be read.
    """
    return dict(_price(text) for text in texts)


def _price(text: str) -> tuple[str, float]:
    word, _, amount = text.partition("=")
    try:
        value = float(amount)
    except ValueError:
        value = -1.0
    if not 0 <= value < 1e9:
        raise UserError(f"The price '{text}' cannot be read; write a lesion and an amount, such as SU=250.")
    return lesion_code(word), value


def known_farms(ledger: Ledger, farms: Sequence[str]) -> tuple[str, ...]:
    """The farms as the ledger spells them; see :func:`evenfoot.analytics.intake.parsing.farm_names.farm_finder`.

    Raises
    ------
    UserError
        A farm that is not in the ledger, or one that may be several of it.
    """
    if not farms:
        return ()
    there = ledger.farms()
    find = farm_finder(there)
    out = []
    for farm in farms:
        name = find(farm)
        if name is None:
            listed = ", ".join(there[:12]) or "none yet"
            raise UserError(f"The farm '{farm}' is not in the ledger; the farms there are: {listed}.")
        out.append(name)
    return tuple(out)


def lesion_code(word: str) -> str:
    """The code of a lesion given by code or name.

    Raises
    ------
    UserError
        The word is not understood.
    """
    code = understand_lesion(word)
    if code is None:
        raise UserError(f"The lesion '{word}' is not understood; use a name or one of {', '.join(PARENTS)}.")
    return code


def printable(table: pd.DataFrame) -> pd.DataFrame:
    """Dates as text: months as 2026-03, quarters as 2026-Q1, days in full."""
    out = table.copy()
    for column in out.columns:
        if pd.api.types.is_datetime64_any_dtype(out[column]):
            out[column] = [None if pd.isna(v) else period_label(str(column), v) for v in out[column]]
    return out


def with_strata(result: Answer) -> pd.DataFrame:
    """The table, followed by the rows of the strata where the answer has them; the column stratum says which."""
    strata = result.extra.get("strata")
    if strata is None or strata.empty:
        return result.table
    both = pd.concat([result.table.assign(stratum="all"), strata], ignore_index=True)
    return both[["stratum", *result.table.columns]]


def csv_text(frame: pd.DataFrame) -> str:
    """A table as CSV for a spreadsheet: text that it would take for a formula gets an apostrophe before it.

    Examples
    --------
    >>> csv_text(pd.DataFrame({"cow": ["=1+1", "7"], "gap": [-0.5, 2.0]}))
    "cow,gap\\n'=1+1,-0.5\\n7,2.0\\n"
    """
    out = frame.copy()
    for column in out.columns:
        if not pd.api.types.is_numeric_dtype(out[column]):
            out[column] = [safe_text(cell) if isinstance(cell, str) else cell for cell in out[column]]
    text: str = out.to_csv(index=False, lineterminator="\n")
    return text


def as_json(result: Answer) -> str:
    """The whole answer as JSON, the keys in this order.

    ``measure``: its name. ``by``: the grouping columns. ``table``: a list of rows. ``basis``: every field of
    :class:`Basis`. ``cautions``: sentences. ``extra``: each side table by its name, a list of rows too.
    Days are written 2026-03-14, months 2026-03, quarters 2026-Q1; what is missing or not finite is null.
    """
    whole = {
        "measure": result.name,
        "by": list(result.by),
        "table": json_rows(result.table),
        "basis": {each.name: json_value(getattr(result.basis, each.name)) for each in dataclasses.fields(result.basis)},
        "cautions": [str(caution) for caution in result.cautions],
        "extra": {name: json_rows(frame) for name, frame in result.extra.items()},
    }
    return json.dumps(whole, ensure_ascii=False, allow_nan=False)


def json_rows(frame: pd.DataFrame) -> list[dict[str, Any]]:
    """The rows of a table as JSON has them; see :func:`as_json`.

    Examples
    --------
    >>> json_rows(pd.DataFrame({"month": [pd.Timestamp("2026-03-01")], "share": [float("nan")], "kinds": [("a", 1)]}))
    [{'month': '2026-03', 'share': None, 'kinds': ['a', 1]}]
    """
    shown = printable(frame)
    columns = [str(column) for column in shown.columns]
    values = [[json_value(value) for value in shown.iloc[:, place]] for place in range(len(columns))]
    return [dict(zip(columns, row, strict=True)) for row in zip(*values, strict=True)]


def json_value(value: Any) -> Any:
    """A value as JSON has it: lists for tuples and arrays, days as text, ``None`` for what is missing or not finite."""
    if isinstance(value, dict):
        return {str(name): json_value(each) for name, each in value.items()}
    if isinstance(value, (list, tuple, set, frozenset, np.ndarray)):
        return [json_value(each) for each in value]
    if isinstance(value, np.generic):
        value = value.item()
    if value is None or value is pd.NaT or value is pd.NA or (isinstance(value, float) and not math.isfinite(value)):
        return None
    if isinstance(value, dt.datetime):
        return f"{value:%Y-%m-%d}" if value.time() == dt.time() else value.isoformat()
    return value if isinstance(value, (bool, int, float)) else str(value)


def basis_sentences(result: Answer) -> list[str]:
    """What the answer rests on, as plain sentences."""
    basis = result.basis
    out: list[str] = []
    if basis.cows:
        out.append(
            say(
                "Rests on {visits} to {farms}, {cows}, {first} to {last}; counted per {unit}; {level:.0%} intervals "
                "({method}).",
                visits=say("{n} visit" if basis.visits == 1 else "{n} visits", n=basis.visits),
                farms=say("{n} farm" if basis.farms == 1 else "{n} farms", n=basis.farms),
                cows=say("{n} cow" if basis.cows == 1 else "{n} cows", n=basis.cows),
                first=basis.first,
                last=basis.last,
                unit=say("scoring of a cow") if basis.unit == "scoring" else say(basis.unit),
                level=basis.level,
                method=basis.method,
            )
        )
    return [*out, *basis.sources, *basis.left_out, *basis.notes]


def _cautions(result: Answer) -> list[str]:
    return [f"Caution: {caution}" for caution in result.cautions]


def _split(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]
