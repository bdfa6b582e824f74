"""How long the reports of many farms take, and how much memory: ``python -m tests.scale.all_farm_reports [FARMS]``.

Made-up herds of 300 cows, three whole-herd visits and monthly scoring each, so that every section has something to say.
"""

from __future__ import annotations

import datetime as dt
import resource
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from evenfoot.analytics.ledger import Ledger, open_ledger
from evenfoot.analytics.ledger.imports.add import add_sheets
from evenfoot.dashboard.report.all_farms import report_all
from evenfoot.dashboard.report.request import Request
from tests.sheets import checked

COWS = 300
LESIONS = {"DD": 10, "SU": 4, "WL": 3, "SH": 5, "HHE": 6}
VISITS = (dt.date(2025, 3, 3), dt.date(2025, 9, 8), dt.date(2026, 3, 9))


def fill(ledger: Ledger, farms: int) -> None:
    """Put the herds in, one import a farm."""
    draw = np.random.default_rng(2026)
    for number in range(farms):
        farm = f"Farm {number + 1:02d}"
        rows = []
        for day in VISITS:
            ill = draw.random(COWS) < 0.35
            kind = draw.choice(list(LESIONS), COWS)
            for cow in range(COWS):
                row = {
                    "visit_date": day,
                    "farm": farm,
                    "visit_kind": "whole-herd",
                    "herd_size": COWS,
                    "cow": str(cow + 1),
                    "housing": "freestall",
                    "foot": "LH" if cow % 2 else "RH",
                    "claw": "lateral",
                    "toe_length_mm": round(float(draw.normal(82, 3)), 1),
                    "toe_length_after_mm": 75.0,
                    "shed_stage": int(draw.integers(0, 3)),
                }
                if ill[cow]:
                    row |= {"lesion": kind[cow], "zone": LESIONS[str(kind[cow])]}
                rows.append(row)
        months = pd.date_range("2024-04-10", "2026-03-10", freq="MS") + pd.Timedelta(days=9)
        scores = [
            {"date": day, "farm": farm, "cow": str(cow + 1), "score": int(score), "scale": "1-5"}
            for day in months
            for cow, score in enumerate(draw.choice([1, 2, 3, 4], COWS, p=[0.6, 0.22, 0.12, 0.06]))
        ]
        add_sheets(ledger, [checked("trims", rows), checked("locomotion", scores)], f"{farm}.csv", f"{number:064d}")


def main(farms: int) -> None:
    """Fill a ledger, write all reports as PDF, print time and memory."""
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as place:
        ledger = open_ledger(str(Path(place) / "ledger.duckdb"))
        fill(ledger, farms)
        before = time.perf_counter()
        outcomes = report_all(ledger, Request(""), Path(place) / "reports")
        took = time.perf_counter() - before
        failed = [outcome for outcome in outcomes if outcome.trouble]
        peak = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)) / 1024
        print(
            f"{len(outcomes)} farms of {COWS} cows: {took:.0f} s, {took / len(outcomes):.1f} s a farm, "
            f"peak memory of a process {peak:.0f} MB, {len(failed)} failed"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 50)
