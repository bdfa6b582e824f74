"""What lesions cost, which costs most, and what halving it would save."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.lesions import LESIONS, parent_of
from evenfoot.analytics.domain.published_figures import PublishedFigure, figures_for
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.lesions.incidence import EARLY_CASES, ONLY_THESE_VISITS, incidence
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.episodes import GAP_DAYS
from evenfoot.analytics.queries.selection import Selection

DRAWS = 20_000
"""Draws of the Monte Carlo; the limits move by less than 1 % from one start to another. [common practice, no source]"""

RANDOM_START = 2018
"""The same figures give the same limits."""

JEFFREYS = 0.5
"""Added to a count for the distribution of its mean. [pub: Jeffreys prior of a Poisson mean; Brown, Cai & DasGupta
2003, Statistica Sinica 13:19-49]"""

MOST_PRICE = 1e9
"""Dearer a case than this is a slip of the pen. [common practice, no source]"""

COLUMNS = ("lesion", "cases", "cost", "low", "high", "currency")
MORE = ("saving_if_halved", "saving_low", "saving_high", "share", "cost_a_case", "price_from")


@dataclass(frozen=True)
class Price:
    """What a case costs: a mean, and how unsure it is (0 where the user gave a plain price)."""

    mean: float
    sd: float
    currency: str
    source: str


@memoize
def cost(
    ledger: Ledger,
    selection: Selection,
    *,
    price: Mapping[str, float] | None = None,
    currency: str | None = None,
    per: str = "cow",
    gap_days: int = GAP_DAYS,
    level: float = 0.95,
) -> Answer:
    """Money lost to new cases of each lesion in the period.

    Cases are new cases as :func:`evenfoot.analytics.measures.lesions.incidence.incidence` counts them. The cost is
    cases times price; its limits come from a seeded Monte Carlo that draws the number of cases such a period brings
    (gamma, Jeffreys) and, for published prices, the price (gamma with the published mean and standard
    deviation). Prices are assumptions of somebody, never this herd's books, unless the user gives them.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    price : mapping of str to float, optional
        Lesion code -> cost a case. Without it the published costs are used; with it only these.
    currency : str, optional
        Currency and year of *price*, such as ``EUR 2026``.
    per : {"cow", "claw"}
        Where a lesion has to be the same one to be the same case.
    gap_days : int
        Days without the lesion before it counts as new.
    level : float
        Level of the limits.

    Returns
    -------
    Answer
        ``table``: lesion, cases, cost, low, high (in ``currency``, over the whole period), currency (with the
        year); saving_if_halved (half the cost) with saving_low and saving_high; share (of the priced cost),
        cost_a_case, price_from. Dearest first; lesions without a price last, their cost missing.
        ``extra["total"]``: cases, cost, low, high, currency of all priced lesions together.

    Raises
    ------
    UserError
        A price for something that is no lesion, or that is not a possible amount.

    References
    ----------
    Dolecheck KA et al. (2018) ADSA abstract M213 (published costs a case: simulated mean and standard
    deviation).
    """
    prices = _prices(price, currency)
    counted = incidence(ledger, selection, by=("lesion",), per=per, gap_days=gap_days, level=level)
    cases = dict(zip(counted.table["lesion"], counted.table["new_cases"], strict=True))
    draw = np.random.default_rng(RANDOM_START)
    tails = [(1 - level) / 2, (1 + level) / 2]
    rows: list[dict[str, Any]] = []
    together = np.zeros(DRAWS)
    for lesion in sorted(cases):
        n = int(cases[lesion])
        paid = prices.get(lesion)
        row: dict[str, Any] = {"lesion": lesion, "cases": n}
        if paid is not None:
            drawn = draw.gamma(n + JEFFREYS, size=DRAWS) * _drawn_price(paid, draw)
            together += drawn
            low, high = np.quantile(drawn, tails)
            row |= {
                "cost": n * paid.mean,
                "low": float(low) if n else 0.0,
                "high": float(high),
                "currency": paid.currency,
                "cost_a_case": paid.mean,
                "price_from": paid.source,
            }
        rows.append(row)
    table = pd.DataFrame(rows, columns=[*COLUMNS, *MORE])
    for name in ("cost", "low", "high", "cost_a_case"):
        table[name] = table[name].astype("float64")
    whole = float(table["cost"].sum())
    table = table.assign(
        saving_if_halved=table["cost"] / 2,
        saving_low=table["low"] / 2,
        saving_high=table["high"] / 2,
        share=table["cost"] / whole if whole else math.nan,
    )
    table = table.sort_values(["cost", "cases", "lesion"], ascending=[False, False, True], kind="stable")
    total = _total(table, together, tails)
    basis, cautions = basis_of(
        ledger,
        selection,
        unit=per,
        level=level,
        method=say("Monte Carlo over the number of cases and published prices, seeded"),
        notes=(counted.basis.notes[0], *_prices_said(prices, table, price is not None)),
    )
    cautions += tuple(c for c in counted.cautions if c.template in (EARLY_CASES, ONLY_THESE_VISITS))
    return Answer(
        "cost",
        table.reset_index(drop=True),
        basis,
        cautions + _words(table, total, price is not None, currency),
        ("lesion",),
        {"total": total},
    )


def _prices(price: Mapping[str, float] | None, currency: str | None) -> dict[str, Price]:
    if not price:
        figures = [f for f in figures_for(measure="cost") if f.lesion and f.unit == "case"]
        return {str(f.lesion): _published(f) for f in figures}
    out = {}
    for word, amount in price.items():
        code = word.strip().upper()
        if code not in LESIONS:
            raise UserError(say("'{word}' in the prices is not a lesion; use a code such as SU, WL or DD.", word=word))
        if parent_of(code) != code:
            raise UserError(
                say(
                    "Cases are counted as {parent_of}, not {code}; give the price for {parent_of}.",
                    parent_of=parent_of(code),
                    code=code,
                )
            )
        if not 0 <= float(amount) < MOST_PRICE:
            raise UserError(
                say(
                    "The price {amount} for {code} is not possible; give an amount of 0 or more.",
                    amount=amount,
                    code=code,
                )
            )
        out[code] = Price(float(amount), 0.0, (currency or "").strip() or str(_NOT_STATED), str(_YOURS))
    return out


_NOT_STATED: Message = say("currency not stated")
_YOURS: Message = say("your price")


def _published(figure: PublishedFigure) -> Price:
    return Price(
        float(figure.value or 0.0),
        float(figure.sd or 0.0),
        f"{figure.currency} {figure.year}",
        f"{figure.source.name}, {figure.source.citation}",
    )


def _drawn_price(price: Price, draw: np.random.Generator) -> np.ndarray:
    """Draws of the price: gamma, because a cost cannot fall below 0. [common practice, no source]"""
    if price.sd <= 0 or price.mean <= 0:
        return np.full(DRAWS, price.mean)
    shape = (price.mean / price.sd) ** 2
    return draw.gamma(shape, price.mean / shape, size=DRAWS)


def _total(table: pd.DataFrame, together: np.ndarray, tails: list[float]) -> pd.DataFrame:
    priced = table[table["cost"].notna()]
    if priced.empty:
        return pd.DataFrame(columns=["cases", "cost", "low", "high", "currency"])
    low, high = np.quantile(together, tails)
    return pd.DataFrame(
        [
            {
                "cases": int(priced["cases"].sum()),
                "cost": float(priced["cost"].sum()),
                "low": float(low) if priced["cases"].sum() else 0.0,
                "high": float(high),
                "currency": priced["currency"].iloc[0],
            }
        ]
    )


def _prices_said(prices: Mapping[str, Price], table: pd.DataFrame, own: bool) -> tuple[Message, ...]:
    used = [lesion for lesion in table.loc[table["cost"].notna(), "lesion"]]
    if not used:
        return ()
    listed = ", ".join(
        f"{lesion} {prices[lesion].mean:g}" + (f" ± {prices[lesion].sd:g}" if prices[lesion].sd else "")
        for lesion in used
    )
    first = prices[used[0]]
    if own:
        return (say("Cost a case, as you gave it ({currency}): {listed}.", currency=first.currency, listed=listed),)
    return (
        say(
            "Cost a case, mean and standard deviation, {currency}: {listed} ({source}). They are other people's herds; "
            "give your own with --price.",
            currency=first.currency,
            listed=listed,
            source=first.source,
        ),
    )


def _words(table: pd.DataFrame, total: pd.DataFrame, own: bool, currency: str | None) -> tuple[Message, ...]:
    out: list[Message] = []
    if table["cases"].sum() == 0:
        out.append(say("Not enough to say: no new case in this period."))
    without = table.loc[table["cost"].isna() & (table["cases"] > 0), "lesion"].tolist()
    if without:
        out.append(
            say(
                "There is no price for {lesions}; their cost is missing, not nothing, and the total is too low.",
                lesions=", ".join(LESIONS[code].name for code in without),
            )
        )
    if own and not (currency or "").strip():
        out.append(say("The prices come without a currency and year; give them with --currency, such as EUR 2026."))
    if len(total) and total["cost"].iloc[0] > 0:
        top = table.iloc[0]
        out.append(
            say(
                "{lesion} costs most: {cost} {currency} over the period ({low} to {high}). Halving its new cases would "
                "save about half of that, before what halving them costs.",
                lesion=LESIONS[top["lesion"]].name.capitalize(),
                cost=f"{top['cost']:,.0f}",
                low=f"{top['low']:,.0f}",
                high=f"{top['high']:,.0f}",
                currency=top["currency"],
            )
        )
    out.append(
        say(
            "Money here is an assumption times a count. It does not tell what any one cow cost, and a cow with two "
            "lesions may cost less than both together."
        )
    )
    return tuple(out)
