"""Where on the foot: prevalence of every zone of every claw."""

from __future__ import annotations

import numpy as np
import pandas as pd

from evenfoot.analytics.domain.feet import BETWEEN_CLAWS
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.answer import Answer
from evenfoot.analytics.measures.cache import memoize
from evenfoot.analytics.measures.lesions.prevalence import prevalence
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries.filters import BETWEEN, NOT_RECORDED
from evenfoot.analytics.queries.selection import Selection


@memoize
def foot_map(
    ledger: Ledger, selection: Selection, *, by: tuple[str, ...] = (), per: str | None = None, level: float = 0.95
) -> Answer:
    """Prevalence by foot, claw and zone, for the drawn feet.

    Zones between the claws (0 and 10) are counted for the foot, whichever claw the sheet names.

    Parameters
    ----------
    ledger : Ledger
    selection : Selection
    by : tuple of str
        Further groupings of the trims, such as season, housing or year: one map for each group.
    per : {"cow", "trim", "foot", "claw"}, optional
        Cows by default, trims where the groups were looked at unequally often.
    level : float
        Confidence level.

    Returns
    -------
    Answer
        ``table``: the ``by`` columns, foot, claw (missing between the claws), zone, cases, at_risk, prevalence,
        low, high, n_farms, n_visits. Places where nothing was found are left out.
        ``extra["looked_at"]``: the ``by`` columns, foot and at_risk of every foot looked at.
        ``extra["unplaced"]``: rows as in the table of findings that do not say all of their place; what they do not
        say is "not recorded", or missing for the zone. Empty where feet or claws are counted.
    """
    if per == "claw":
        on_claw = prevalence(ledger, selection, by=(*by, "foot", "claw", "zone"), per=per, level=level)
        between = prevalence(ledger, selection, by=(*by, "foot", "zone"), per="foot", level=level)
        claws = on_claw.table[~on_claw.table["zone"].isin(BETWEEN_CLAWS)]
        feet = between.table[between.table["zone"].isin(BETWEEN_CLAWS)].assign(claw=None)
        unplaced = claws[:0]
    else:
        # One question for both: a cow, trim or foot is one unit, whichever part of the foot is looked at.
        on_claw = between = prevalence(ledger, selection, by=(*by, "foot", "side", "zone"), per=per, level=level)
        whole = on_claw.table.rename(columns={"side": "claw"})
        lacking = whole["zone"].isna() | (whole[["foot", "claw"]] == str(NOT_RECORDED)).any(axis=1)
        unplaced, whole = whole[lacking].reset_index(drop=True), whole[~lacking]
        claws, feet = whole[whole["claw"] != BETWEEN], whole[whole["claw"] == BETWEEN].assign(claw=None)
    parts = [part for part in (claws, feet[claws.columns] if len(feet) else feet) if len(part)]
    table = pd.concat(parts, ignore_index=True) if parts else claws
    looked_at = table.groupby([*by, "foot"], as_index=False, observed=True)[["at_risk"]].max()
    table = table[table["cases"] > 0].reset_index(drop=True)
    table = table.assign(claw=table["claw"].astype(object).where(table["claw"].notna(), None))
    cautions = between.cautions
    if table.empty and len(unplaced):
        cautions = (
            say("No finding says foot, claw and zone; what is known of their place is in the table."),
            *cautions,
        )
    if len(table) and np.any(table["n_farms"] > 0) and not (table["cases"] >= 5).any():
        cautions += (say("Few findings carry a zone; the picture may change with the next visit."),)
    return Answer(
        "foot-map",
        table,
        on_claw.basis,
        cautions,
        (*by, "foot", "claw", "zone"),
        {"looked_at": looked_at, "unplaced": unplaced},
    )
