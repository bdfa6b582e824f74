"""How fast toes grow: from what a trim left to what the next look found, by housing, season and claw."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from evenfoot.analytics.domain.horn import GROWTH_MM_PER_MONTH
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.basis import basis_of
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.farm_sample import part_of_farms
from evenfoot.analytics.measures.horn.horn_state import nothing_measured
from evenfoot.analytics.messages import Length, Message, say
from evenfoot.analytics.queries.farm_sample import farm_sample
from evenfoot.analytics.queries.filters import OF_SITE, OF_TRIM
from evenfoot.analytics.queries.horn_growth import WHILE, Growth, growth_pairs
from evenfoot.analytics.queries.selection import Selection
from evenfoot.analytics.stats.nested_model import NestedFit, nested_model

COLUMNS = ("pairs", "mm_per_month", "low", "high", "raw_mean", "shrink_weight", "months", "cows")

PRIOR_SD = 1.5
"""How far the growth of a herd in one housing and season may lie from the published 4 mm a month: standard deviation in
mm a month. Few records are drawn toward the published rate by it. [common practice, no source]"""

ASSUMED_SPREADS = (0.5, 0.4, 2.0)
"""Standard deviations of herds and cows (mm a month) and of one difference of two readings (mm), used where there are
too few pairs to find them. [common practice, no source]"""

PAIRS_FOR_SPREADS, COWS_FOR_SPREADS = 30, 10
"""Fewer pairs or cows than these cannot tell how unlike cows are. [common practice, no source]"""

MOST_CELLS = 120
"""More groups than this are no answer but a list. [common practice, no source]"""

Array = npt.NDArray[np.float64]

WHY: dict[str, Message] = {
    "broken": say("with a toe broken off"),
    "time": say("under two weeks or over a year and a half apart"),
    "trimmed": say("trimmed in between without that claw being read"),
    "impossible": say("shrunk or grown beyond what horn does"),
}

NET: Message = say(
    "This is growth less wear: how much longer the toe was found than it was left. The published rate is of growth "
    "alone, so on abrasive ground a lower figure is to be expected."
)


@memoize
def growth(
    ledger: Ledger,
    selection: Selection,
    *,
    by: tuple[str, ...] = ("housing", "season", "claw"),
    level: float = 0.95,
) -> Answer:
    """Millimetres a month that toes gain between a trim and the next look at the same claw.

    The gain of a pair is set against the months it spent in each housing and season, so a pair that spans two seasons
    tells of both. Cows of one herd, and claws of one cow, are alike: herd and cow are random effects on the rate,
    fitted by restricted maximum likelihood. Rates with little behind them are drawn toward the published 4 mm a month.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
        Narrows by the second look of a pair. All kinds of visit count: growth does not depend on why she was looked at.
    by : tuple of str
        Groupings: housing, floor, wetness, group and season are followed from day to day; farm, parity, breed, foot,
        limb and claw hold at the second look.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: the ``by`` columns, pairs (with any time in the group), mm_per_month, low, high (drawn toward the
        published rate), raw_mean (gain over months, not drawn), shrink_weight (0 to 1: how much of the figure is the
        records' own), months (of claws in the group), cows.
        ``extra["spread"]``: sd_herd, sd_cow (mm a month), sd (mm, of one difference), pairs, cows, herds, estimated.

    Raises
    ------
    UserError
        A grouping that pairs do not have, or too many groups.

    References
    ----------
    University of Kentucky, Hoof Trimming of Dairy Cows (4 mm a month). Tranter WP, Morris RS (1992) N Z Vet J (growth
    and wear by season and claw). Bates D et al. (2015) J Stat Softw 67(1) (the fit). Satterthwaite FE (1946) Biometrics
    Bulletin 2:110-114 (degrees of freedom).
    """
    by = _known(by)
    sample = farm_sample(ledger, selection.with_(visits=("all",)), "horn_readings")
    selection = selection.with_(farms=sample.selection.farms)
    found = growth_pairs(ledger, selection, by)
    notes = (NET, *part_of_farms(sample), *_left_out(found))
    basis, _ = basis_of(
        ledger,
        selection.with_(visits=("all",)),
        unit="pair",
        level=level,
        method=say("mixed model with herd and cow, drawn toward the published rate"),
        source="horn_readings",
        notes=notes,
    )
    if found.pairs.empty:
        answer = nothing_measured("growth", (*by, *COLUMNS), basis, by)
        why = say(
            "Not enough to say: no claw was measured at a trim and looked at again. The published rate is {rate} "
            "a month.",
            rate=Length(GROWTH_MM_PER_MONTH),
        )
        return Answer("growth", answer.table, basis, (why,), by)
    cells, x = _shared_out(found, by)
    if len(cells) > MOST_CELLS:
        raise UserError(
            say(
                "Growth by {listed} makes {n} groups; leave out a grouping with --by.",
                listed=", ".join(by),
                n=len(cells),
            )
        )
    fit, estimated = _fit(found.pairs, x, by)
    table = _table(found.pairs, cells, x, fit, level)
    spread = pd.DataFrame(
        {
            "sd_herd": [fit.sd_herd],
            "sd_cow": [fit.sd_cow],
            "sd": [fit.sd],
            "pairs": [len(found.pairs)],
            "cows": [_cows(found.pairs).nunique()],
            "herds": [found.pairs["farm"].nunique()],
            "estimated": [estimated],
        }
    )
    cautions = (*part_of_farms(sample), *_cautions(table, estimated, spread))
    return Answer("growth", table[[*by, *COLUMNS]], basis, cautions, by, {"spread": spread})


def _known(by: tuple[str, ...]) -> tuple[str, ...]:
    allowed = [name for name in (*OF_TRIM, *OF_SITE) if name not in ("month", "quarter", "year", "bedding")]
    for name in by:
        if name not in allowed:
            raise UserError(
                say("Growth cannot be grouped by '{name}'; use any of {listed}.", name=name, listed=", ".join(allowed))
            )
    return tuple(dict.fromkeys(by))


def _cows(pairs: pd.DataFrame) -> pd.Series:
    return pairs["farm"] + "|" + pairs["cow"]


def _shared_out(found: Growth, by: tuple[str, ...]) -> tuple[pd.DataFrame, Array]:
    """The groups met, and for every pair the months it spent in each."""
    pairs = found.pairs.assign(pair=range(len(found.pairs)))
    fixed = [name for name in by if name not in WHILE]
    keys = ["farm", "cow", "since", "until"]
    columns = ["pair", *dict.fromkeys([*keys, *fixed])]
    long = pairs[columns].merge(found.stays, on=keys, how="left")
    if not by:
        cells = pd.DataFrame(index=[0])
        code = np.zeros(len(long), dtype=int)
    else:
        cells = long[list(by)].drop_duplicates().sort_values(list(by)).reset_index(drop=True)
        code = long[list(by)].merge(cells.assign(code=cells.index), on=list(by), how="left")["code"].to_numpy()
    x = np.zeros((len(pairs), len(cells)))
    np.add.at(x, (long["pair"].to_numpy(), code), long["months"].to_numpy())
    return cells, x


def _fit(pairs: pd.DataFrame, x: Array, by: tuple[str, ...]) -> tuple[NestedFit, bool]:
    """The model on rates: a pair over many months weighs more, as its reading error is spread over them."""
    months = pairs["months"].to_numpy()
    cow = _cows(pairs)
    herd = pd.Series("all", index=pairs.index) if "farm" in by else pairs["farm"]
    enough = len(pairs) >= PAIRS_FOR_SPREADS and cow.nunique() >= COWS_FOR_SPREADS and len(pairs) > x.shape[1] + 1
    given = {} if enough else {"spreads": ASSUMED_SPREADS}
    shares = x / months[:, None]
    fit = nested_model(pairs["grown"] / months, shares, cow, herd, months**2, **given)  # type: ignore[arg-type]
    return fit, enough


def _table(pairs: pd.DataFrame, cells: pd.DataFrame, x: Array, fit: NestedFit, level: float) -> pd.DataFrame:
    from scipy import special

    precision = 1.0 / PRIOR_SD**2
    spread = np.linalg.inv(fit.information + precision * np.eye(x.shape[1]))
    rate = spread @ (fit.score + precision * GROWTH_MM_PER_MONTH)
    variance = np.diag(spread)
    # Where the records cannot tell a rate alone, the published rate does most of the telling: it has no few herds.
    df = np.nan_to_num(fit.df, nan=np.inf)
    t = np.where(np.isinf(df), special.ndtri(0.5 + level / 2), special.stdtrit(np.minimum(df, 1e9), 0.5 + level / 2))
    half = t * np.sqrt(variance)
    months = x.sum(axis=0)
    gained = (x * (pairs["grown"].to_numpy() / pairs["months"].to_numpy())[:, None]).sum(axis=0)
    there = x > 0
    cow = pd.factorize(_cows(pairs))[0]
    return cells.assign(
        pairs=there.sum(axis=0),
        mm_per_month=rate,
        low=rate - half,
        high=rate + half,
        raw_mean=gained / months,
        shrink_weight=np.clip(1.0 - variance * precision, 0.0, 1.0),
        months=months,
        cows=[len(np.unique(cow[there[:, j]])) for j in range(x.shape[1])],
    ).reset_index(drop=True)


def _left_out(found: Growth) -> tuple[Message, ...]:
    return tuple(
        say("{n} pairs were left out: {why}.", n=count, why=WHY[why]) for why, count in sorted(found.left_out.items())
    )


def _cautions(table: pd.DataFrame, estimated: bool, spread: pd.DataFrame) -> tuple[Message, ...]:
    out: list[Message] = []
    row = spread.iloc[0]
    if not estimated:
        out.append(
            say(
                "Not enough to say how unlike cows are: {pairs} pairs on {cows} cows. Usual spreads are assumed, and "
                "the published rate of {rate} a month carries much of these figures.",
                pairs=row["pairs"],
                cows=row["cows"],
                rate=Length(GROWTH_MM_PER_MONTH),
            )
        )
    weak = int((table["shrink_weight"] < 0.5).sum())
    if weak:
        out.append(
            say(
                "{n} of {all} figures rest more on the published rate of {rate} a month than on these records.",
                n=weak,
                all=len(table),
                rate=Length(GROWTH_MM_PER_MONTH),
            )
        )
    if row["herds"] > 1:
        out.append(
            say("Several farms are pooled; growth differs between herds for reasons that are not in the records.")
        )
    return tuple(out)
