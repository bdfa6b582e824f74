"""The state of horn: toe length, angle, heel, sole, how uneven the claws are, and toes broken off."""

from __future__ import annotations

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.horn_limits import HornLimits
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.limits import horn_limits
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.measures.basis import FEW_COWS, basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.horn import MEASURES, SHARES, horn_sums, known_groupings, toe_breaks
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.cluster import cluster_proportion
from evenfoot.analytics.stats.cluster_mean import cluster_mean

COLUMNS = ("measure", "n", "mean", "low", "high", "sd", "q1", "median", "q3", "cows", "unit")
BREAKS = ("distance", "breaks", "scored", "lame")

UNITS = {
    **dict.fromkeys(SHARES, "share"),
    "toe_angle_deg": "degrees",
    "shed_difference": "stages",
}
"""What a measure is given in, where it is not millimetres."""

RANDOM_FEET: Message = say(
    "Horn is measured on some cows and some claws; these figures say how it is on those, and on the herd only as far "
    "as the cows measured are like the others."
)
NEVER_A_VERDICT: Message = say(
    "The limits are starting points for a mature cow, never a verdict: how much horn comes off is decided at the foot."
)


@memoize
def horn(
    ledger: Ledger,
    selection: Selection,
    *,
    by: tuple[str, ...] = ("housing",),
    level: float = 0.95,
    limits: HornLimits | None = None,
) -> Answer:
    """Means and shares of horn measurements with intervals that allow for claws of one cow being alike.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Groupings of trims (housing, floor, season, month, wetness, group, parity, breed, farm, ...) and of places
        (foot, limb, claw). Differences between the claws of a foot are left out when grouped by claw.
    level : float
        Confidence level.
    limits : HornLimits, optional
        Where a toe is long, a sole thin and a break deep; the published and usual ones by default.

    Returns
    -------
    Answer
        ``table``: the ``by`` columns, measure, n (claws or feet looked at, once a day), mean, low, high, sd, q1,
        median, q3, cows, unit. Measures: toe_length_mm (as found), toe_angle_deg, heel_depth_mm, sole_thickness_mm;
        shares of claws overgrown (dorsal wall at the limit), long_toe (and a low angle), thin_soled (sole under the
        limit or thin sole recorded, of claws with the sole measured); toe_, heel_, sole_difference_mm and
        shed_difference between the two claws of a foot; toe_break (share of claws measured with a toe broken off),
        toe_break_mm (how far past the ideal line), toe_break_far (share of breaks past the limit), toe_break_lame
        (share of breaks with the cow lame that day). Means of ``unit`` share lie between 0 and 1.
        ``extra["toe_breaks"]``: one row a break. ``extra["breaks_and_lameness"]``: distance (within or beyond the
        limit), breaks, scored, lame.

    Raises
    ------
    UserError
        A grouping that horn readings do not have.

    References
    ----------
    Cochran WG (1977) Sampling Techniques, 3rd ed., pages 30-33 and 66 (means of clusters).
    Irish Veterinary Journal (2015) 68:10, table 2 (the long toe).
    """
    limits = limits or horn_limits(ledger)
    by = known_groupings(by)
    sums = horn_sums(ledger, selection, by, limits)
    basis, cautions = basis_of(
        ledger,
        selection,
        unit="claw",
        level=level,
        method=say("ratio estimate with cows as clusters"),
        source="horn_readings",
    )
    if sums.empty:
        return nothing_measured("horn", (*by, *COLUMNS), basis, by)
    table = _estimates(sums, by, level)
    broken = toe_breaks(ledger, selection, limits)
    cautions = selective_horn(cautions) + (RANDOM_FEET, NEVER_A_VERDICT, *_few(table, by), *pooled(sums["n_farms"]))
    extra = {"toe_breaks": broken, "breaks_and_lameness": breaks_and_lameness(broken)}
    return Answer("horn", table, basis, cautions, by, extra)


def nothing_measured(name: str, columns: tuple[str, ...], basis: Basis, by: tuple[str, ...]) -> Answer:
    """The answer where no horn was measured."""
    caution = say("Not enough to say: no horn measurement was recorded for this choice of farms, dates and groups.")
    return Answer(name, pd.DataFrame(columns=list(columns)), basis, (caution,), by)


def pooled(n_farms: pd.Series) -> tuple[Message, ...]:
    """A caution where a figure pools several farms."""
    if n_farms.empty or n_farms.max() < 2:
        return ()
    return (
        say(
            "Several farms are pooled. Cows of one farm are alike, so the true doubt is wider than these intervals; "
            "what a group does cannot be told from what its farms do."
        ),
    )


def selective_horn(cautions: tuple[Message, ...]) -> tuple[Message, ...]:
    """Cautions shared by all measures, those about how common lesions are taken out: horn is not a lesion."""
    return tuple(caution for caution in cautions if "overstate" not in caution.template)


def _estimates(sums: pd.DataFrame, by: tuple[str, ...], level: float) -> pd.DataFrame:
    y, n, yy, yn, nn, k = (
        sums[name].to_numpy(dtype=float) for name in ("sum_y", "sum_n", "sum_yy", "sum_yn", "sum_nn", "cows")
    )
    share = sums["measure"].isin(SHARES).to_numpy()
    means = cluster_mean(y, n, yy, yn, nn, k, level)
    # Only rows of shares hold cases; the others are given none, and their limits are not used.
    shares = cluster_proportion(
        np.where(share, y, 0.0), n, np.where(share, yy, 0.0), np.where(share, yn, 0.0), nn, k, level
    )
    table = sums.assign(
        n=sums["sum_n"],
        mean=means.mean,
        low=np.where(share, shares.low, np.maximum(means.low, 0.0)),
        high=np.where(share, shares.high, means.high),
        unit=sums["measure"].map(UNITS).fillna("mm"),
    )
    table = table.astype({"n": "int64", "cows": "int64"})
    table.loc[share, ["sd", "q1", "median", "q3"]] = np.nan
    place = table["measure"].map({name: i for i, name in enumerate(MEASURES)})
    table = table.assign(place=place).sort_values([*by, "place"], kind="stable").reset_index(drop=True)
    return table[[*by, *COLUMNS]]


def _few(table: pd.DataFrame, by: tuple[str, ...]) -> tuple[Message, ...]:
    toes = table[table["measure"].isin(["toe_length_mm", "sole_thickness_mm", "toe_angle_deg", "heel_depth_mm"])]
    if not by or toes.empty:
        return ()
    cows = toes.groupby(list(by), dropna=False)["cows"].max()
    small = [" ".join(map(str, key if isinstance(key, tuple) else (key,))) for key in cows[cows < FEW_COWS].index]
    if not small or len(small) > 8:
        return (say("{n} groups have fewer than {few} cows measured.", n=len(small), few=FEW_COWS),) if small else ()
    return (
        say("Not enough to say about {groups}: fewer than {few} cows measured.", groups=", ".join(small), few=FEW_COWS),
    )


def breaks_and_lameness(broken: pd.DataFrame) -> pd.DataFrame:
    """Breaks within and beyond the limit, how many of the cows were scored that day, and how many were lame."""
    rows = []
    for far, name in ((False, say("within the limit")), (True, say("beyond the limit"))):
        part = broken[broken["far"] == far]
        rows.append((name, len(part), int(part["lame"].notna().sum()), int((part["lame"] == 1).sum())))
    return pd.DataFrame(rows, columns=list(BREAKS))
