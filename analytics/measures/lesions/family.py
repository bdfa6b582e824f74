"""Do lesions run in families: daughters of one sire against those of another."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
from scipy import special

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.farm_sample import part_of_farms
from evenfoot.analytics.messages import Message, listed, say
from evenfoot.analytics.queries.daughters import daughters
from evenfoot.analytics.queries.farm_sample import farm_sample
from evenfoot.analytics.queries.filters import NOT_RECORDED
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.farm_level import with_herd_level
from evenfoot.analytics.stats.heritability import LEAST_SIRES, liability_h2
from evenfoot.analytics.stats.intervals import normal_quantile
from evenfoot.analytics.stats.random_herd import RandomHerd, random_herd_logit

MIN_DAUGHTERS = 10
"""Sires with fewer daughters here are left out. [common practice, no source]"""

COLUMNS = ("sire", "daughters", "cases", "rate", "shrunken", "low", "high")


@memoize
def family(ledger: Ledger, selection: Selection, *, level: float = 0.95) -> Answer:
    """Share of each sire's daughters with the lesion, raw and drawn towards the mean of all sires.

    A random-sire logistic model with farm, lactation and number of trims: daughters that are older, on a worse
    farm, or trimmed more often, do not count against their sire. A sire with few daughters is drawn further
    towards the mean.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        ``lesions`` or ``families`` say what a case is; any lesion by default. A cow is a case when any of
        her trims shows it.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: sire, daughters, cases, rate (raw share), shrunken (share expected among all cows here if
        they were daughters of this sire), low, high (of shrunken); farms (on how many farms); effect (log
        odds against the mean sire). Lowest shrunken rate first. The heritability is in the basis notes and in
        ``extra["heritability"]`` (missing below ten sires): h2, low, high, sire_sd, p_value, sires, daughters,
        capped, with_trims, with_parity (whether the number of trims and the lactation were held alike).

    References
    ----------
    Gianola D (1982) J Anim Sci 54:1079-1096. Nakagawa S, Schielzeth H (2010) Biol Rev 85:935-956 (the latent
    variance). Robinson GK (1991) Statistical Science 6:15-51 (shrunken estimates).
    """
    sample = farm_sample(ledger, selection)
    selection = sample.selection
    frame = daughters(ledger, selection)
    known = frame[frame["sire"].notna()]
    per_sire = known.groupby("sire").agg(
        daughters=("daughters", "sum"), cases=("cases", "sum"), farms=("farm", "nunique")
    )
    kept = per_sire[per_sire["daughters"] >= MIN_DAUGHTERS]
    table = kept.reset_index().astype({"daughters": "int64", "cases": "int64"})
    table = table.assign(rate=table["cases"] / table["daughters"], shrunken=np.nan, low=np.nan, high=np.nan)
    table = table.assign(effect=np.nan)
    rows = with_lactation(_telling(known[known["sire"].isin(kept.index)]))
    rows, herds = with_herd_level(rows, "cases", "daughters", "farm")
    fitted = _fit(rows, herds, level) if len(kept) >= 2 and len(rows) else None
    if fitted is not None and fitted.converged:
        table = _shrunken(table, rows, fitted, level)
    heritability = _heritability(fitted, len(kept), int(kept["daughters"].sum()))
    basis, cautions = basis_of(
        ledger,
        selection,
        unit="cow",
        level=level,
        method=listed(
            (
                say("random-sire logistic model"),
                say("limits of the shrunken share from the doubt about sire and mean"),
            ),
            ";",
        ),
        notes=(*part_of_farms(sample), *_notes(frame, per_sire, heritability)),
    )
    cautions += part_of_farms(sample)
    cautions += _words(table, fitted, heritability, level)
    table = table.sort_values(["shrunken", "rate", "sire"], kind="stable").reset_index(drop=True)
    return Answer(
        "family", table[[*COLUMNS, "farms", "effect"]], basis, cautions, ("sire",), {"heritability": heritability}
    )


def _telling(rows: pd.DataFrame) -> pd.DataFrame:
    """Only farms with some cases and some free cows: the others say nothing about sires and upset the fit."""
    sums = rows.groupby("farm")[["cases", "daughters"]].transform("sum")
    return rows[(sums["cases"] > 0) & (sums["cases"] < sums["daughters"])]


def with_lactation(rows: pd.DataFrame) -> pd.DataFrame:
    """The lactation as a group: one without cases, or without free cows, goes with the lactation before it (the first
    with the next); not recorded with the commonest."""
    parity = rows["parity"].to_numpy(dtype="int64").copy()
    cases, cows = (rows[name].to_numpy(dtype="int64") for name in ("cases", "daughters"))
    while True:
        levels = np.unique(parity)
        seen = {int(x): (int(cases[parity == x].sum()), int(cows[parity == x].sum())) for x in levels}
        bare = [level for level, (ill, all_cows) in seen.items() if ill in (0, all_cows)]
        if not bare or len(seen) == 1:
            break
        alone = bare[-1]
        others = [level for level in seen if level not in (alone, 0)] or [0]
        if alone == 0:
            into = max(others, key=lambda level: seen[level][1])
        else:
            into = max((level for level in others if level < alone), default=min(others))
        parity[parity == alone] = into
    return rows.assign(parity=[NOT_RECORDED if level == 0 else str(level) for level in parity])


def _fit(rows: pd.DataFrame, herds: list[str], level: float) -> RandomHerd:
    """The sire model with farm, lactation and trims; without what upsets the fit."""
    of_cow = [name for name in ("parity", "times") if rows[name].nunique() > 1]
    for kept in (of_cow, of_cow[:1], []):
        columns = [*herds, *kept]
        fitted = random_herd_logit(rows, "cases", columns, "sire", n="daughters", level=level)
        if fitted.converged or not kept:
            break
    return fitted


def _shrunken(table: pd.DataFrame, rows: pd.DataFrame, fitted: RandomHerd, level: float) -> pd.DataFrame:
    """What share would be a case if all cows here were daughters of each sire, all else as it is.

    The limits allow for the doubt about the sire's effect and about the herd's mean, not for the doubt about
    the spread of sires.
    """
    z = normal_quantile(level)
    terms = fitted.coefficients["term"].tolist()
    if "herd_level" not in rows:
        rows = rows.assign(herd_level=0.0)
    everybody = rows.groupby(["farm", "herd_level", "times", "parity"], as_index=False)["daughters"].sum()
    x = np.zeros((len(everybody), len(terms)))
    for place, term in enumerate(terms):
        if term == "intercept":
            x[:, place] = 1.0
        elif term in ("times", "herd_level"):
            x[:, place] = everybody[term].to_numpy(dtype=float)
        else:
            name, value = term.split("=", 1)
            x[:, place] = (everybody[name] == value).to_numpy(dtype=float)
    linear = x @ fitted.coefficients["estimate"].to_numpy(dtype=float)
    weight = everybody["daughters"].to_numpy(dtype=float)
    mean = weight @ x / weight.sum()
    effects = fitted.effects.set_index("cluster").reindex(table["sire"])
    effect, spread = (effects[name].to_numpy(dtype=float) for name in ("effect", "sd"))
    reach = z * np.sqrt(spread**2 + float(mean @ fitted.covariance @ mean))

    def share(at: np.ndarray) -> np.ndarray:
        return np.asarray(special.expit(linear[None, :] + at[:, None]) @ weight / weight.sum())

    return table.assign(shrunken=share(effect), low=share(effect - reach), high=share(effect + reach), effect=effect)


def _heritability(fitted: RandomHerd | None, sires: int, cows: int) -> pd.DataFrame:
    """Heritability on the liability scale, ``4 s^2 / (s^2 + pi^2 / 3)``, not above 1."""
    names = ["h2", "low", "high", "sire_sd", "p_value", "sires", "daughters", "capped", "with_trims", "with_parity"]
    if fitted is None or not fitted.converged or sires < LEAST_SIRES:
        return pd.DataFrame([[math.nan] * 5 + [sires, cows, False, *_held(fitted)]], columns=names)
    found = [liability_h2(sd) for sd in (fitted.sd, fitted.sd_low, fitted.sd_high)]
    row = [*found, fitted.sd, fitted.sd_p_value, sires, cows, found[0] >= 1.0]
    return pd.DataFrame([[*row, *_held(fitted)]], columns=names)


def _held(fitted: RandomHerd | None) -> tuple[bool, bool]:
    """Whether the number of trims and the lactation were held alike."""
    if fitted is None or not fitted.converged:
        return False, False
    terms = fitted.coefficients["term"].astype(str)
    return bool((terms == "times").any()), bool(terms.str.startswith("parity=").any())


_ALIKE = {
    (False, False): say("farm"),
    (True, False): say("farm and number of trims"),
    (False, True): say("farm and lactation"),
    (True, True): say("farm, lactation and number of trims"),
}


def _notes(frame: pd.DataFrame, per_sire: pd.DataFrame, heritability: pd.DataFrame) -> tuple[Message, ...]:
    out: list[Message] = []
    row = heritability.iloc[0]
    if math.isfinite(row["h2"]):
        out.append(
            say(
                "Heritability on the liability scale {h2} ({low} to {high}; sire model, {sires} sires, {cows} "
                "daughters, {alike} held alike). It describes these records and is not a breeding value of any bull "
                "or cow.",
                h2=f"{row['h2']:.2f}",
                low=f"{row['low']:.2f}",
                high=f"{row['high']:.2f}",
                sires=int(row["sires"]),
                cows=int(row["daughters"]),
                alike=_ALIKE[bool(row["with_trims"]), bool(row["with_parity"])],
            )
        )
    few = per_sire[per_sire["daughters"] < MIN_DAUGHTERS]
    if len(few):
        out.append(
            say(
                "{n} sires with fewer than {least} daughters here ({cows} cows) were left out.",
                n=len(few),
                least=MIN_DAUGHTERS,
                cows=int(few["daughters"].sum()),
            )
        )
    unsaid = int(frame.loc[frame["sire"].isna(), "daughters"].sum())
    if unsaid:
        out.append(say("{n} cows without a recorded sire were left out.", n=unsaid))
    return tuple(out)


def _words(
    table: pd.DataFrame, fitted: RandomHerd | None, heritability: pd.DataFrame, level: float
) -> tuple[Message, ...]:
    out: list[Message] = []
    row = heritability.iloc[0]
    if len(table) < 2:
        return (
            say(
                "Not enough to say: fewer than two sires with {n} daughters or more in these records.",
                n=MIN_DAUGHTERS,
            ),
        )
    if fitted is None or not fitted.converged:
        out.append(say("Not enough to say: no cow, or every cow, is a case, or sires and farms always go together."))
    else:
        if len(table) < LEAST_SIRES:
            out.append(say("Not enough to say how much is inherited: that needs {n} sires or more.", n=LEAST_SIRES))
        if fitted.sd_p_value >= 1 - level:
            out.append(say("The sires differ no more than luck would make them; do not choose between them by this."))
        if row["capped"]:
            out.append(
                say(
                    "The sire model gives a heritability of 1 or more, which cannot be: something other than "
                    "inheritance goes with the sires, such as age, year or group. It is shown as 1."
                )
            )
    if row["with_parity"]:
        out.append(
            say(
                "Daughters of one sire are often of one time too, and a cow trimmed for lameness is seen more; "
                "likeness within a family is an association, not proof of inheritance."
            )
        )
    else:
        out.append(
            say(
                "Daughters of one sire are often of one age and one time too, and a cow trimmed for lameness is seen "
                "more; likeness within a family is an association, not proof of inheritance."
            )
        )
    return tuple(out)
