"""On which scale a farm's cows were scored so far."""

from __future__ import annotations

from evenfoot.analytics.ledger.ledger import Ledger


def scales_used(ledger: Ledger) -> dict[str, str]:
    """The scale of each farm's newest scores; of several on that day the one with the most scores.

    Returns
    -------
    dict of str to str
        Farm -> scale, of farms that have scores.

    Raises
    ------
    UserError
        The ledger cannot be read.
    """
    if not ledger.exists:
        return {}
    frame = ledger.frame(
        "SELECT farm, scale, MAX(visit_date) AS last, COUNT(*) AS n FROM scores "
        "WHERE scale IS NOT NULL GROUP BY farm, scale, visit_date"
    ).sort_values(["farm", "last", "n", "scale"])
    newest = frame.drop_duplicates("farm", keep="last")
    return dict(zip(newest["farm"], newest["scale"], strict=True))
