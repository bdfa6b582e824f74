"""Whether days on which only lame cows were scored are told from scorings of the herd, on made-up herds.

Run with ``python -m tests.scale.worlds_looked``. Herds of 60 to 250 cows of which 30 % are replaced in a year are
scored monthly, 85 to 100 % of the milking cows each time; a seventh of the cows is dry and never seen then. Cows differ
in proneness and stay lame for some months. Now and then a list of lame cows alone is scored, beside the scoring of the
month or in its place. What is known of the size of the herd differs from world to world.
"""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.locomotion import locomotion
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of

MONTHS = 24
KNOWN = ("nothing", "herd size", "register")
LIST_BESIDE = 0.25
"""Share of months with a list of lame cows some days after the scoring of the herd."""
LIST_ALONE = 0.12
"""Share of months in which only a list of lame cows was scored."""


def herd_rows(rng: np.random.Generator, farm: str) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
    """Scorings, register and trim rows (lame cows called for, with the herd size) of one herd."""
    cows = int(rng.integers(60, 251))
    milking = cows - cows // 7
    number = np.arange(cows)
    proneness = rng.normal(-1.6, 1.0, cows)
    lame = rng.random(cows) < 1 / (1 + np.exp(-proneness))
    months = pd.date_range("2024-01-01", periods=MONTHS, freq="MS")
    came, left = {int(n): "2022-01-01" for n in number}, {}
    scored, called = [], []
    for place, month in enumerate(months):
        replaced = rng.random(cows) < 0.30 / 12
        for at in np.flatnonzero(replaced):
            left[int(number[at])] = f"{month:%Y-%m-%d}"
            number[at] = max(came) + 1
            came[int(number[at])] = f"{month:%Y-%m-%d}"
            proneness[at], lame[at] = rng.normal(-1.6, 1.0), False
        # Lame for three months or so; as many become lame as the proneness says.
        chance = 1 / (1 + np.exp(-proneness))
        lame = np.where(lame, rng.random(cows) < 0.67 + 0.33 * chance, rng.random(cows) < 0.33 * chance)
        dry = (np.arange(cows) + place * cows // 12) % cows >= milking
        present = np.flatnonzero(~dry)
        alone = rng.random() < LIST_ALONE
        days = [] if alone else [(month + pd.Timedelta(days=4), _seen(rng, present), "herd")]
        ill = present[lame[present]]
        if alone or rng.random() < LIST_BESIDE:
            days.append((month + pd.Timedelta(days=15), ill, "list"))
        for day, seen, what in days:
            scored.append(
                pd.DataFrame(
                    {"farm": farm, "cow": number[seen].astype(str), "date": day, "score": np.where(lame[seen], 3, 1),
                     "scale": "1-5", "scorer": "AB", "what": what}
                )
            )  # fmt: skip
        if place % 5 == 2 and len(ill):
            row = {"farm": farm, "cow": str(number[ill[0]]), "visit_date": month, "visit_kind": "lame-cow"}
            called.append(row | {"herd_size": milking})
    register = pd.DataFrame({"farm": farm, "cow": [str(n) for n in came], "entered_on": list(came.values())})
    register["left_on"] = [left.get(n) for n in came]
    return pd.concat(scored, ignore_index=True), register, pd.DataFrame(called)


def _seen(rng: np.random.Generator, present: np.ndarray) -> np.ndarray:
    """Between 85 and 100 % of the cows, whichever."""
    n = int(np.ceil(rng.uniform(0.85, 1.0) * len(present)))
    return rng.choice(present, n, replace=False)


def told_apart(farms: int, seed: int, known: str, path: Path) -> dict[str, Any]:
    """How days were judged in a world of so many herds.

    Returns
    -------
    dict
        herd_days, lists (how many); kept (share of days of the herd that count as such), caught (share of lists told as
        part-herd), distorted (share of herds with a month whose share lame is not that of the scoring of the herd).
    """
    rng = np.random.default_rng(seed)
    parts = [herd_rows(rng, f"Farm {at:03d}") for at in range(farms)]
    scored, register, called = (pd.concat([part[at] for part in parts], ignore_index=True) for at in range(3))
    sheets = [checked("locomotion", scored.drop(columns="what"))]  # type: ignore[arg-type]
    if known == "herd size":
        sheets.append(checked("trims", called))  # type: ignore[arg-type]
    if known == "register":
        sheets.append(checked("register", register))  # type: ignore[arg-type]
    ledger = ledger_of(path / f"{known}-{seed}.duckdb", *sheets)
    days = _judged(ledger).merge(scored[["farm", "date", "what"]].drop_duplicates(), on=["farm", "date"])
    herd, lists = days[days["what"] == "herd"], days[days["what"] == "list"]
    counted = locomotion(ledger, Selection(), by=("month", "farm")).table
    whole = scored[scored["what"] == "herd"]
    whole = whole.assign(period=whole["date"].dt.to_period("M").dt.to_timestamp(), lame=whole["score"] >= 3)
    truth = whole.groupby(["period", "farm"], as_index=False)["lame"].mean()
    both = counted.merge(truth, on=["period", "farm"], how="left", suffixes=("_n", ""))
    off = (both["lame_prevalence"] - both["lame"]).abs().fillna(1) > 1e-9
    return {
        "herd_days": len(herd),
        "lists": len(lists),
        "kept": float((herd["visit_kind"] == "scoring").mean()),
        "caught": float((lists["visit_kind"] == "part-herd").mean()),
        "distorted": both.loc[off, "farm"].nunique() / farms,
    }


def _judged(ledger: Ledger) -> pd.DataFrame:
    return ledger.frame("SELECT DISTINCT farm, visit_date AS date, visit_kind FROM scores").astype(
        {"date": "datetime64[us]"}
    )


def main() -> None:
    """Print the share of days told rightly in every world, with its Monte Carlo error."""
    farms = 100
    print(f"{farms} herds, {MONTHS} months each; +/- is one standard error of the simulation")
    print("known of the herd's size | days of the herd kept | lists of lame cows caught | herds with a distorted month")
    with tempfile.TemporaryDirectory() as folder:
        for seed, known in enumerate(KNOWN):
            found = told_apart(farms, seed, known, Path(folder))
            cells = []
            for name, n in (("kept", found["herd_days"]), ("caught", found["lists"]), ("distorted", farms)):
                share = found[name]
                cells.append(f"{share:.1%} +/- {np.sqrt(share * (1 - share) / n):.1%} of {n}")
            print(f"{known:>24} | " + " | ".join(cells))


if __name__ == "__main__":
    main()
