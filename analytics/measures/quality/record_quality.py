"""How good are the records: what is left blank, favourite figures, visits that found no healthy cow, sudden shifts."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, cast

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.domain.visits import REST_SOUND
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer, messages
from evenfoot.analytics.measures.basis import basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.periods import period_label
from evenfoot.analytics.measures.quality.lesion_shifts import shifts
from evenfoot.analytics.messages import N_, Message, listed, say
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.analytics.queries.record_completeness import OF_COW_DAY, OF_LESION, OF_VISIT, record_keeping
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.intervals import wilson
from evenfoot.analytics.stats.multiple_testing import benjamini_hochberg

COLUMNS = ("check", "trimmer", "month", "field", "n", "share", "p_value", "sentence")
MORE = ("low", "high", "p_adjusted", "farm")

FEW_READINGS = 50
"""Last digits of fewer readings than this tell nothing: ten digits, five of each. [common practice, no source]"""

LEAST_SPREAD = 5.0
"""Readings must spread at least this many steps of their last digit (standard deviation), or the digits are uneven
by nature. A normal spread of 5 leaves each digit within 1.5 % of its tenth (first harmonic of a wrapped normal,
2 exp(-2 (pi 5 / 10)^2)). [worked out]"""

FRACTIONS = 0.2
"""From this share of readings with a fraction on, the tenths are the last digit. [common practice, no source]"""

FEW_AT_VISIT = 5
"""A visit to fewer cows may well find something on every one. [common practice, no source]"""

SOME_OF_EVERY = ("whole-herd", "part-herd", "unknown")
"""Visits at which some cows should have nothing. At a lame-cow call or a recheck none may."""


@memoize
def record_quality(ledger: Ledger, selection: Selection, *, level: float = 0.95) -> Answer:
    """Check how records were kept. Nothing here is about the cows, and nothing proves a mistake.

    Checks: ``completeness`` (share filled, by field, trimmer and month; a row without a month is the whole
    period), ``scores`` (each score's share, against other scorers of the same farms), ``last digit`` (share of
    readings ending in 0 or 5, against even digits), ``healthy cows`` (visits at which every cow had a finding),
    ``part of the herd`` (visits called whole-herd though fewer than 80 % of the herd was looked at),
    ``number used again`` (cows whose lactation is lower than at an earlier visit),
    ``lesion mix`` (a trimmer's lesions on a farm against the quarter with records before).

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Farms, period, trimmers and cows; every kind of visit counts.
    level : float
        Confidence level; also what counts as a clear difference after allowing for how many were looked at.

    Returns
    -------
    Answer
        ``table``: check, trimmer (or scorer), month (for the mix the quarter's first day; missing for the whole
        period), field (the field, the score with its scale, the kind of visit, or the lesion that shifted most),
        n (records), share (0 to 1), p_value, sentence; low, high (of share, Wilson), p_adjusted
        (Benjamini-Hochberg within a check), farm.

    References
    ----------
    Benjamini Y, Hochberg Y (1995) J R Stat Soc B 57:289-300. Preece DA (1981) Applied Statistics 30:31-44
    (last digits). Newcombe RG (1998) Stat Med 17:857-872.
    """
    kept = record_keeping(ledger, selection)
    parts = [
        _completeness(kept["cow_days"], kept["lesions"]),
        _scores(kept["scores"]),
        _digits(kept["digits"]),
        _healthy(kept["visits"]),
        _doubted(kept["visits"]),
        _used_again(kept["falls"]),
        _mix(kept["mix"]),
    ]
    rows = [row for part in parts for row in part]
    table = pd.DataFrame(rows, columns=["check", "trimmer", "month", "field", "n", "share", "p_value", "told", "farm"])
    table = table.astype({"share": "float64", "p_value": "float64"})
    table["month"] = pd.to_datetime(table["month"]).astype("datetime64[us]")
    low, high = wilson((table["share"] * table["n"]).to_numpy(dtype=float), table["n"].to_numpy(dtype=float), level)
    table = table.assign(low=low, high=high, p_adjusted=np.nan)
    for _, places in table.groupby("check").groups.items():
        # A test told on several rows (each score of one scorer) is one test.
        tests = table.loc[places].groupby(["trimmer", "farm", "month", "p_value"], dropna=False)["p_value"].first()
        known = tests.dropna()
        adjusted = dict(zip(known, benjamini_hochberg(known.to_numpy(dtype=float))[0], strict=True))
        table.loc[places, "p_adjusted"] = table.loc[places, "p_value"].map(adjusted)
    table["told"] = messages(row["told"] for row in rows)
    table["sentence"] = messages(_sentence(row, level) for row in table.to_dict("records"))
    basis, cautions = basis_of(
        ledger,
        selection.with_(visits=("all",), lesions=(), families=()),
        unit="record",
        level=level,
        method=listed((say("Wilson limits"), say("chi-square tests, Benjamini-Hochberg within each check")), ";"),
        notes=(
            say("What is known of a cow counts as filled whichever sheet says so; lesions as the trim sheet has them."),
        ),
    )
    cautions = tuple(c for c in cautions if not c.startswith("These figures include"))
    return Answer("quality", table[[*COLUMNS, *MORE]], basis, cautions + _words(table), ("check", "trimmer", "month"))


def _row(check: str, who: Any, n: float, share: float, told: Message, **more: Any) -> dict[str, Any]:
    row = {"month": pd.NaT, "field": None, "p_value": np.nan, "farm": None}
    return row | {"check": check, "trimmer": who, "n": int(n), "share": share, "told": told} | more


Counts = npt.NDArray[np.float64]

_FILLED = N_("{who}, {when}: {field} filled in for {share} of {n} {what}.")


def _completeness(cow_days: pd.DataFrame, lesions: pd.DataFrame) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    groups = (
        (cow_days, (*OF_VISIT, *OF_COW_DAY), say("cow records")),
        (lesions, (*OF_LESION, "dd_stage"), say("lesions")),
    )
    for frame, fields, what in groups:
        counts = [name for name in frame if name not in ("who", "month")]
        months = frame.astype({"who": "str"} | dict.fromkeys(counts, "float64"))
        months = months.assign(month=pd.to_datetime(frame["month"])).sort_values(["who", "month"])
        both = pd.concat([months.groupby("who", as_index=False)[counts].sum(), months], ignore_index=True)
        begins = list(both["month"])
        times = [say("whole period") if pd.isna(month) else period_label("month", month) for month in begins]
        for name in fields:
            whole = f"{name}_n" if f"{name}_n" in frame else "n"
            for who, month, when, n, filled in zip(both["who"], begins, times, both[whole], both[name], strict=True):
                if not n:
                    continue
                share = filled / n
                told = say(_FILLED, who=who, when=when, field=name, share=f"{share:.0%}", n=int(n), what=what)
                out.append(_row("completeness", who, n, share, told, month=month, field=name))
    return out


def _chi_square(first: Counts, second: Counts) -> tuple[float, int]:
    """Chi-square and degrees of freedom of two tables of counts, a row a farm and a column a grade, farm by farm."""
    pairs = np.stack([first, second], axis=1)
    pairs = pairs[(pairs.sum(axis=2) > 0).all(axis=1)]
    of_grade = pairs.sum(axis=1, keepdims=True)
    expected = pairs.sum(axis=2, keepdims=True) * of_grade / pairs.sum(axis=(1, 2), keepdims=True)
    met = np.broadcast_to(of_grade > 0, pairs.shape)
    parts = np.divide((pairs - expected) ** 2, expected, out=np.zeros_like(pairs), where=met)
    return float(parts.sum()), int((met[:, 0].sum(axis=1) - 1).sum())


def _p_of(chi2: float, df: int) -> float:
    from scipy import special

    return float(special.chdtrc(float(df), chi2)) if df > 0 else float("nan")


def _scores(scores: pd.DataFrame) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    tables = {
        scale: part.pivot_table(index=["farm", "scorer"], columns="score", values="n", aggfunc="sum", fill_value=0)
        for scale, part in scores.groupby("scale")
    }
    named = {
        scale: table.drop(index=NOT_RECORDED, level="scorer", errors="ignore").groupby("farm").sum()
        for scale, table in tables.items()
    }
    for who, scale in scores.groupby(["scorer", "scale"]).size().index:
        given = tables[scale].xs(who, level="scorer")
        own = given.to_numpy(dtype=float)
        rest = named[scale].reindex(given.index, fill_value=0).to_numpy(dtype=float)
        rest = rest if who == NOT_RECORDED else rest - own
        shared = rest.any(axis=1)
        met = (own[shared].sum(axis=0) + rest.sum(axis=0)) > 0
        chi2, df = _chi_square(own[np.ix_(shared, met)], rest[np.ix_(shared, met)])
        numbers = own[shared].sum(axis=0) if df else own.sum(axis=0)
        total, total_rest = float(numbers.sum()), float(rest.sum())
        for score, n, other in zip(given.columns, numbers, rest.sum(axis=0), strict=True):
            if not n:
                continue
            if df:
                told = say(
                    "{who} gave score {score} ({scale}) at {share} of {n} scorings; others on these farms at {other}.",
                    who=who, score=score, scale=scale, share=f"{n / total:.0%}", n=int(total),
                    other=f"{other / total_rest:.0%}",
                )  # fmt: skip
            else:
                told = say(
                    "{who} gave score {score} ({scale}) at {share} of {n} scorings; nobody else scored these farms.",
                    who=who, score=score, scale=scale, share=f"{n / total:.0%}", n=int(total),
                )  # fmt: skip
            out.append(_row("scores", who, total, n / total, told, field=f"{score} ({scale})", p_value=_p_of(chi2, df)))
    return out


def _digits(readings: pd.DataFrame) -> list[dict[str, Any]]:
    out: list[dict[str, Any]] = []
    for (who, field), part in readings.groupby(["who", "field"]):
        value, n = part["value"].to_numpy(dtype=float), part["n"].to_numpy(dtype=float)
        total = n.sum()
        fraction = np.abs(value - np.round(value)) > 1e-6
        tenths = n[fraction].sum() >= FRACTIONS * total
        steps = np.round(value * (10 if tenths else 1)).astype(int)
        mean = (steps * n).sum() / total
        spread = float(np.sqrt(((steps - mean) ** 2 * n).sum() / total))
        if total < FEW_READINGS or spread < LEAST_SPREAD:
            continue
        counts = np.bincount(steps % 10, weights=n, minlength=10)
        chi2 = float(((counts - total / 10) ** 2 / (total / 10)).sum())
        share = float(counts[[0, 5]].sum() / total)
        told = say(
            "{who}: {share} of {n} readings of {field} end in 0 or 5 ({place}); two in ten would be even.",
            who=who,
            share=f"{share:.0%}",
            n=int(total),
            field=field,
            place=say("tenths") if tenths else say("whole units"),
        )
        out.append(_row(say("last digit"), who, total, share, told, field=field, p_value=_p_of(chi2, 9)))
    return out


def _healthy(visits: pd.DataFrame) -> list[dict[str, Any]]:
    """One row a trimmer: share of visits without a healthy cow; and one a visit of that kind."""
    out: list[dict[str, Any]] = []
    kept = visits[visits["kind"].isin(SOME_OF_EVERY) & (visits["cows"] >= FEW_AT_VISIT)]
    kept = kept.assign(day=pd.to_datetime(kept["visit_date"]), every=kept["found"] >= kept["cows"])
    for who, part in kept.groupby("who"):
        share = float(part["every"].mean())
        told = say(
            "{who}: no healthy cow was written down at {k} of {n} visit days to {least} cows or more.",
            who=who, k=int(part["every"].sum()), n=len(part), least=FEW_AT_VISIT,
        )  # fmt: skip
        out.append(_row(say("healthy cows"), str(who), len(part), share, told, field="visits"))
        for row in part[part["every"]].sort_values("day").to_dict("records"):
            told = say(
                "{who} at {farm}, {day}: all {n} cows have a finding; were the healthy ones written down?",
                who=who, farm=row["farm"], day=f"{row['day']:%Y-%m-%d}", n=int(row["cows"]),
            )  # fmt: skip
            out.append(
                _row(say("healthy cows"), str(who), row["cows"], 1.0, told, month=row["day"].replace(day=1),
                     field=row["kind"], farm=row["farm"])
            )  # fmt: skip
    return out


def _doubted(visits: pd.DataFrame) -> list[dict[str, Any]]:
    """One row a trimmer and one a visit day: called whole-herd, though too few of the herd were looked at."""
    out: list[dict[str, Any]] = []
    called = visits[(visits["kind"] == "whole-herd") | (visits["doubted"] == 1)]
    for who, part in called.groupby("who"):
        wrong = part[part["doubted"] == 1].assign(day=lambda rows: pd.to_datetime(rows["visit_date"]))
        if wrong.empty:
            continue
        told = say(
            "{who}: at {k} of {n} visit days called whole-herd fewer than 80 % of the herd was looked at.",
            who=who, k=len(wrong), n=len(part),
        )  # fmt: skip
        out.append(_row(say("part of the herd"), str(who), len(part), len(wrong) / len(part), told, field="visits"))
        for row in wrong.sort_values("day").to_dict("records"):
            told = say(
                "{who} at {farm}, {day}: called whole-herd, with {n} cows on the sheet; if the others were looked at "
                "and sound, write '{kind}'.",
                who=row["who"], farm=row["farm"], day=f"{row['day']:%Y-%m-%d}", n=int(row["cows"]), kind=REST_SOUND,
            )  # fmt: skip
            out.append(
                _row(say("part of the herd"), str(who), row["cows"], 1.0, told, month=row["day"].replace(day=1),
                     field=row["kind"], farm=row["farm"])
            )  # fmt: skip
    return out


def _used_again(falls: pd.DataFrame) -> list[dict[str, Any]]:
    """One row a cow number whose lactation falls from one visit to a later one."""
    rows = falls.assign(day=pd.to_datetime(falls["visit_date"])).sort_values(["farm", "cow", "day"])
    return [
        _row(
            say("number used again"), None, 1, 1.0,
            say(
                "Cow {cow} at {farm} is in lactation {parity} on {day} and was in {before} at the visit before: is "
                "it another animal? Give both in a register, with the day each came in.",
                cow=row["cow"], farm=row["farm"], parity=int(row["parity"]), day=f"{row['day']:%Y-%m-%d}",
                before=int(row["before"]),
            ),
            month=row["day"].replace(day=1), field="parity", farm=row["farm"],
        )
        for row in rows.to_dict("records")
    ]  # fmt: skip


def _mix(mix: pd.DataFrame) -> list[dict[str, Any]]:
    return [
        _row(
            say("lesion mix"), str(row["who"]), row["n"], row["share"],
            say(
                "{who} at {farm}: {lesion} is {share} of {n} findings in {now} and was {past} of {m} in {before}.",
                who=row["who"], farm=row["farm"], lesion=row["lesion"], share=f"{row['share']:.0%}", n=int(row["n"]),
                now=period_label("quarter", row["now"]), past=f"{row['past']:.0%}", m=int(row["m"]),
                before=period_label("quarter", row["before"]),
            ),
            month=row["now"], field=row["lesion"], p_value=row["p_value"], farm=row["farm"],
        )
        for row in shifts(mix).to_dict("records")
    ]  # fmt: skip


def _sentence(row: Mapping[Any, Any], level: float) -> Message:
    """What the row says, and whether it is more than luck."""
    if pd.isna(row["p_adjusted"]):
        return cast("Message", row["told"])
    clear = row["p_adjusted"] < 1 - level
    verdict = say("More than luck; worth asking why.") if clear else say("No more than luck would do.")
    return say("{first} {second}", first=row["told"], second=verdict)


def _words(table: pd.DataFrame) -> tuple[Message, ...]:
    if table.empty:
        return (say("Not enough to say: no record to check."),)
    out = [
        say(
            "A clear difference is a question, not a fault: herds change, seasons change, and cows of one farm are "
            "alike, so that luck does more than these tests allow for."
        )
    ]
    missing = [name for name in ("scores", say("last digit"), say("lesion mix")) if not (table["check"] == name).any()]
    if missing:
        out.append(say("Not enough to say on: {checks}.", checks=", ".join(missing)))
    return tuple(out)
