"""Figures of a report, worked out again from the sheets with plain pandas and Wilson's formula."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import binomtest

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.cli.report import mail_text
from evenfoot.dashboard.i18n.translation import Words
from evenfoot.dashboard.report.contents import collect
from evenfoot.dashboard.report.document import document
from evenfoot.dashboard.report.request import Request
from tests.report.test_document import plain

SHEETS = Path(__file__).parents[2] / "sample_data" / "herds"
NAMES = {"DD": "Digital dermatitis", "SH": "Sole haemorrhage", "WL": "White line disease", "SU": "Sole ulcer"}


@pytest.fixture(scope="module")
def report(demo_ledger: Ledger) -> str:
    return plain(document(collect(demo_ledger, Request("Larkmoor"))))


@pytest.fixture(scope="module")
def trims() -> pd.DataFrame:
    """Whole-herd trims of one farm; a case is a lesion other than dermatitis without a lesion (M0)."""
    rows = pd.read_csv(SHEETS / "larkmoor_trims.csv", parse_dates=["visit_date"], dtype={"cow": str})
    rows = rows[rows["visit_kind"] == "whole-herd"]
    return rows.assign(case=rows["lesion"].notna() & (rows["dd_stage"] != "M0"))


def visits(trims: pd.DataFrame) -> list[pd.DataFrame]:
    """The visits, oldest first: days no more than three apart are one visit."""
    days = np.sort(trims["visit_date"].unique())
    run = np.cumsum(np.r_[True, np.diff(days) > np.timedelta64(3, "D")])
    of_day = dict(zip(days, run, strict=True))
    return [rows for _, rows in trims.groupby(trims["visit_date"].map(of_day))]


def share(cases: int, n: int) -> str:
    """A share as the report writes it, with Wilson's limits [pub: Newcombe 1998, Stat Med 17:857]."""
    limits = binomtest(cases, n).proportion_ci(method="wilson")
    return f"{100 * cases / n:.1f}% ({100 * limits.low:.1f}\u2013{100 * limits.high:.1f})"


def test_this_visit_and_the_last(report: str, trims: pd.DataFrame) -> None:
    last, now = visits(trims)[-2:]
    n, ill = now["cow"].nunique(), now.loc[now["case"], "cow"].nunique()
    n_last, ill_last = last["cow"].nunique(), last.loc[last["case"], "cow"].nunique()
    assert f"Any lesion: {ill} of {n} cows trimmed, " in report
    assert f"Any lesion {ill}: {share(ill, n)} {ill_last}: {share(ill_last, n_last)}" in report
    assert f", of {n} " in report and f", of {n_last} " in report


@pytest.mark.parametrize("lesion", list(NAMES))
def test_a_lesion_at_both_visits(report: str, trims: pd.DataFrame, lesion: str) -> None:
    said = []
    for rows in (visits(trims)[-1], visits(trims)[-2]):
        cases = rows.loc[rows["case"] & (rows["lesion"] == lesion), "cow"].nunique()
        said.append(f"{cases}: {share(cases, rows['cow'].nunique())}")
    assert f"{NAMES[lesion]} {' '.join(said)}" in report


def test_lame_cows_at_the_newest_scoring(report: str, trims: pd.DataFrame) -> None:
    """Scores stand on a sheet of their own and on the trim sheet; the newest of both counts."""
    sheet = pd.read_csv(SHEETS / "locomotion.csv", parse_dates=["date"], dtype={"cow": str})
    sheet = sheet[sheet["farm"] == "Larkmoor"]
    chute = trims.rename(columns={"visit_date": "date", "locomotion_score": "score"}).dropna(subset="score")
    rows = pd.concat([sheet, chute])[["date", "cow", "score"]].drop_duplicates()
    newest = rows[rows["date"] > rows["date"].max() - pd.Timedelta(days=4)]
    lame = newest.loc[newest["score"] >= 3, "cow"].nunique()
    assert f"Lame: {lame} of {newest['cow'].nunique()} cows scored, " in report


def test_the_mail_says_the_same_verdicts(report: str, demo_ledger: Ledger) -> None:
    attached, *verdicts = mail_text(demo_ledger, "Larkmoor", Words("en")).split("\n\n")
    assert attached == "The newest report on the feet of the herd of Larkmoor is attached."
    assert len(verdicts) >= 2
    assert all(" ".join(verdict.split()) in report for verdict in verdicts)


def test_cows_with_a_lesion_in_the_year(report: str, trims: pd.DataFrame) -> None:
    sheets = [pd.read_csv(SHEETS / name, dtype={"cow": str}) for name in ("larkmoor_trims.csv", "locomotion.csv")]
    newest = max(
        pd.to_datetime(sheets[0]["visit_date"]).max(),
        pd.to_datetime(sheets[1].loc[sheets[1]["farm"] == "Larkmoor", "date"]).max(),
    )
    year = trims[trims["visit_date"] > newest - pd.DateOffset(months=12)]
    n, ill = year["cow"].nunique(), year.loc[year["case"], "cow"].nunique()
    assert f"{ill} of {n} cows had a lesion at least once: {share(ill, n)}." in report
