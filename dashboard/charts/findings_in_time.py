"""What a figure over time found, in one sentence: the title of its panel. Counts are of a hundred."""

from __future__ import annotations

import pandas as pd

from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.lesions.change_impact import VERDICTS as CHANGE_VERDICTS
from evenfoot.analytics.messages import Message
from evenfoot.dashboard.charts.control import signals
from evenfoot.dashboard.charts.frame import records
from evenfoot.dashboard.charts.labels import VERDICTS, value_label
from evenfoot.dashboard.charts.theme import capital, number
from evenfoot.dashboard.i18n.translation import _, _n, told, words


def of_100(share: float) -> str:
    """A share as a whole number of a hundred."""
    return number(round(100 * float(share)))


def newest_month(answer: Answer, share: str = "prevalence", column: str = "month") -> str:
    """The newest month, and the same month a year before where there is one."""
    table = answer.table
    if table.empty or column not in table or table[column].duplicated().any():
        return ""
    table = table[table[share].notna()].sort_values(column)
    if table.empty:
        return ""
    last = table.iloc[-1]
    day = pd.Timestamp(last[column])
    before = table[table[column] == day - pd.DateOffset(years=1)]
    now = _("{month}: {share} of 100", month=value_label("month", day), share=of_100(last[share]))
    if before.empty:
        return now
    return _("{now}, a year before {share}", now=now, share=of_100(before[share].iloc[0]))


def newest_stretch(answer: Answer) -> str:
    """The newest of several months taken together, and the same stretch a year before."""
    table = answer.table.dropna(subset=["prevalence"]) if len(answer.table) else answer.table
    if table.empty:
        return ""
    table = table.sort_values("month")
    last = table.iloc[-1]
    before = table[table["month"] == pd.Timestamp(last["month"]) - pd.DateOffset(years=1)]
    day, first = pd.Timestamp(last["month"]), pd.Timestamp(last["from_month"])
    now = _("{n} months to {month}: {share} of 100", n=12 * (day.year - first.year) + day.month - first.month + 1,
            month=value_label("month", day), share=of_100(last["prevalence"]))  # fmt: skip
    if before.empty:
        return now
    return _("{now}, a year before {share}", now=now, share=of_100(before["prevalence"].iloc[0]))


def this_year(answer: Answer) -> str:
    """This year so far, the year before in the same months, and whether the two differ."""
    rows = records(answer.table.head(2))
    if len(rows) < 2:
        return ""
    now, was = (of_100(row["prevalence"]) for row in rows)
    said = _("{year}: {share} of 100, {before} in the same months: {was}", year=str(rows[0]["year"]), share=now,
             before=str(rows[1]["year"]), was=was)  # fmt: skip
    clear = rows[1]["direction"] not in ("unclear", None)
    return _("{said}; likely real", said=said) if clear else _("{said}; chance could do that", said=said)


def newest_quarter(answer: Answer) -> str:
    """The lesion that most cows had in the newest quarter."""
    table = answer.table
    if table.empty or not {"quarter", "lesion"} <= set(table.columns):
        return ""
    table = table[(table["quarter"] == table["quarter"].max()) & table["prevalence"].notna()]
    rows = records(table.sort_values("prevalence", ascending=False, kind="stable").head(1))
    if not rows or not rows[0]["cases"]:
        return ""
    lesion, share = words().lesion(str(rows[0]["lesion"]), inside=True), of_100(rows[0]["prevalence"])
    when = value_label("quarter", rows[0]["quarter"])
    return _("{when}: {lesion} most, {share} of 100", when=when, lesion=lesion, share=share)


def farms_in_newest_quarter(answer: Answer) -> str:
    """From how many to how many of a hundred the farms had, each in its newest quarter."""
    table = answer.table
    if table.empty or "quarter" not in table:
        return ""
    shares = table.dropna(subset=["prevalence"]).sort_values("quarter").groupby("farm")["prevalence"].last()
    if len(shares) < 2:
        return ""
    low, high = of_100(shares.min()), of_100(shares.max())
    return _("Newest quarter of each farm: {low} to {high} of 100", low=low, high=high)


def months_out_of_the_ordinary(answer: Answer, what: str) -> str:
    """How many months gave a signal, and the last of them; nothing without one."""
    found = signals(answer)
    if found.empty:
        limits = (
            answer.table["upper"].notna().any() and not answer.table["baseline"].all() if len(answer.table) else True
        )
        return "" if limits else _("Too few months to say")
    return _n(
        "{what}: {n} month out of the ordinary, {month}",
        "{what}: {n} months out of the ordinary, the last {month}",
        len(found),
        what=capital(what),
        month=value_label("month", found["month"].iloc[0]),
    )


def rising_or_falling(answer: Answer) -> str:
    """Which way the fitted line goes, from how many of a hundred to how many; nothing where farms differ."""
    if answer.empty or any(caution.template.startswith("Farms differ") for caution in answer.cautions):
        return ""
    odds, start, end = records(answer.table.head(3))
    if pd.isna(odds["low"]) or pd.isna(odds["high"]):
        return _("Too few to say")
    if odds["low"] <= 1 <= odds["high"]:
        return _("No clear trend")
    ends = {"start": of_100(start["estimate"]), "end": of_100(end["estimate"])}
    if odds["low"] > 1:
        return _("Rising: {start} of 100 at the start, {end} at the end", **ends)
    return _("Falling: {start} of 100 at the start, {end} at the end", **ends)


def after_the_change(verdict: Message) -> str:
    """The verdict on a change as a title, from the sentence of ``change-impact``."""
    kind = next(kind for kind, template in CHANGE_VERDICTS.items() if template == verdict.template)
    word = told(VERDICTS[kind])
    if kind == "too-few":
        return word
    seen, expected = (number(round(verdict.values[name])) for name in ("seen", "expected"))
    return _(
        "{word}: {seen} of 100 after it, {expected} had it gone on as before", word=word, seen=seen, expected=expected
    )


def time_of_most(answer: Answer) -> str:
    """The part of the year with most of it, where a season can be told from chance."""
    if answer.empty:
        return ""
    wave, peak = records(answer.table.head(2))
    if pd.isna(wave["estimate"]):
        return _("Too few to say")
    if pd.isna(peak["estimate"]):
        return _("No season can be told from chance")
    return _("Most of it in {month}", month=told(peak["words"]))
