"""How records were kept: faults put in on purpose are found, and the even hand is left in peace."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pandas as pd
import pytest

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.quality.record_quality import record_quality
from evenfoot.analytics.queries.selection import Selection
from tests.sheets import checked, ledger_of


def trim(
    cow: int, who: str | None = "Ann", day: str = "2025-03-01", lesion: str | None = None, **more: Any
) -> dict[str, Any]:
    row = {"farm": "Ash", "cow": str(cow), "visit_date": day, "visit_kind": "whole-herd", "trimmer": who}
    return row | {"lesion": lesion, "foot": "RH" if lesion else None} | more


def ledger(tmp_path: Path, rows: list[dict[str, Any]], *sheets: Any, name: str = "l") -> Ledger:
    return ledger_of(tmp_path / f"{name}.duckdb", checked("trims", rows), *sheets)


def check(made: Ledger, name: str, selection: Selection | None = None) -> pd.DataFrame:
    table = record_quality(made, selection or Selection()).table
    return table[table["check"] == name].reset_index(drop=True)


def test_what_is_filled_in(tmp_path: Path) -> None:
    rows = [
        trim(1, lesion="SU", zone=4, claw="lateral", severity=1),
        trim(2, lesion="SU", zone=4, claw="medial"),
        trim(3, lesion="DD", dd_stage="M2"),
        trim(4, day="2025-04-01", lesion="DD", parity=2),
        trim(5, who=None),
    ]
    table = check(ledger(tmp_path, rows), "completeness")
    whole = table[table["month"].isna() & (table["trimmer"] == "Ann")].set_index("field")
    got = {name: (row["n"], row["share"]) for name, row in whole.iterrows()}
    assert got["zone"] == (4, 0.5) and got["severity"] == (4, 0.25) and got["foot"] == (4, 1)
    assert got["claw"] == (2, 1), "a lesion of the skin needs no claw"
    assert got["dd_stage"] == (2, 0.5) and got["parity"] == (4, 0.25)
    months = table[(table["field"] == "dd_stage") & table["month"].notna()]
    assert months["share"].tolist() == [1, 0]
    assert months["sentence"].iloc[0] == "Ann, 2025-03: dd_stage filled in for 100% of 1 lesions."
    nobody = table[(table["trimmer"] == "not recorded") & (table["field"] == "trimmer") & table["month"].isna()]
    assert nobody[["n", "share"]].values.tolist() == [[1, 0]]
    assert ((table["low"] <= table["share"]) & (table["share"] <= table["high"])).all()


def test_favourite_last_digits(tmp_path: Path) -> None:
    rows = []
    for cow in range(300):
        length = 60 + (cow * 37 % 300) / 10
        rows.append(trim(cow, toe_length_mm=length, claw="lateral", foot="RH"))
        rows.append(trim(1000 + cow, who="Bo", toe_length_mm=5.0 * round(length / 5), claw="lateral", foot="RH"))
    table = check(ledger(tmp_path, rows), "last digit").set_index("trimmer")
    assert table.loc["Bo", "share"] == 1 and table.loc["Bo", "p_adjusted"] < 1e-6
    assert "worth asking why" in table.loc["Bo", "sentence"] and "whole units" in table.loc["Bo", "sentence"]
    assert table.loc["Ann", "share"] == pytest.approx(0.2) and table.loc["Ann", "p_value"] > 0.9
    assert "No more than luck" in table.loc["Ann", "sentence"] and "tenths" in table.loc["Ann", "sentence"]


def test_too_few_or_too_narrow_readings_have_no_favourite(tmp_path: Path) -> None:
    rows = [trim(cow, toe_length_mm=75.0 + cow % 3, claw="lateral", foot="RH") for cow in range(200)]
    rows += [trim(500 + cow, who="Bo", toe_length_mm=60.0 + cow, claw="lateral", foot="RH") for cow in range(30)]
    assert check(ledger(tmp_path, rows), "last digit").empty


def test_scores_against_others_of_the_same_farm(tmp_path: Path) -> None:
    def scored(who: str, scores: list[int], farm: str = "Ash") -> list[dict[str, Any]]:
        return [
            {"farm": farm, "cow": f"{who}{i}", "date": "2025-03-01", "score": s, "scale": "1-5", "scorer": who}
            for i, s in enumerate(scores)
        ]

    even = [1] * 40 + [2] * 30 + [3] * 20 + [4] * 10
    rows = scored("Ann", even) + scored("Bo", even) + scored("Cy", [3] * 100) + scored("Dee", [2] * 50, "Oak")
    table = check(ledger(tmp_path, [trim(1)], checked("locomotion", rows)), "scores")
    cy = table[table["trimmer"] == "Cy"].iloc[0]
    assert cy["share"] == 1 and cy["p_adjusted"] < 1e-6
    assert cy["sentence"].startswith("Cy gave score 3 (1-5) at 100% of 100 scorings; others on these farms at 20%.")
    dee = table[table["trimmer"] == "Dee"].iloc[0]
    assert pd.isna(dee["p_value"]) and "nobody else scored these farms" in dee["sentence"]
    ann = table[table["trimmer"] == "Ann"]
    assert ann["share"].tolist() == [0.4, 0.3, 0.2, 0.1]
    # By hand: Ann 40 30 20 10 against Bo and Cy together 40 30 120 10.
    mine, others = [40, 30, 20, 10], [40, 30, 120, 10]
    chi2 = sum(
        (seen - (a + b) * total / 300) ** 2 / ((a + b) * total / 300)
        for a, b in zip(mine, others, strict=True)
        for seen, total in ((a, 100), (b, 200))
    )
    from scipy.stats import chi2 as chi_square

    assert ann["p_value"].iloc[0] == pytest.approx(chi_square.sf(chi2, 3))


def test_a_visit_without_a_healthy_cow(tmp_path: Path) -> None:
    rows = [trim(cow, lesion="DD") for cow in range(8)]
    rows += [trim(cow, day="2025-09-01", lesion="DD" if cow else None) for cow in range(8)]
    rows += [trim(cow, day="2025-10-01", lesion="SU", visit_kind="lame-cow") for cow in range(8)]
    rows += [trim(cow, day="2025-11-01", lesion="SU") for cow in range(4)]
    table = check(ledger(tmp_path, rows), "healthy cows")
    assert table[["n", "share"]].values.tolist() == [[2, 0.5], [8, 1.0]]
    assert table["month"].tolist() == [pd.NaT, pd.Timestamp("2025-03-01")]
    assert "Ann at Ash, 2025-03-01: all 8 cows have a finding" in table["sentence"].iloc[1]


def test_a_sudden_shift_of_words(tmp_path: Path) -> None:
    rows = []
    for quarter, (first, second) in {"2025-01-10": (30, 30), "2025-04-10": (29, 31), "2025-10-10": (58, 2)}.items():
        rows += [trim(cow, day=quarter, lesion="SU" if cow < first else "WL") for cow in range(first + second)]
    table = check(ledger(tmp_path, rows), "lesion mix")
    assert table["month"].dt.strftime("%Y-%m").tolist() == ["2025-04", "2025-10"]
    assert table["p_adjusted"].iloc[0] > 0.5 and table["p_adjusted"].iloc[1] < 1e-6
    assert "SU is 97% of 60 findings in 2025-Q4 and was 48% of 60 in 2025-Q2" in table["sentence"].iloc[1]


def test_a_number_whose_lactation_falls_is_asked_about(tmp_path: Path) -> None:
    days = (("2025-03-03", (4, 1, 2)), ("2026-03-03", (1, 2, 3)), ("2026-09-03", (1, 2, 3)))
    rows = [trim(cow, day=day, parity=parity) for day, parities in days for cow, parity in enumerate(parities)]
    [row] = check(ledger(tmp_path, rows), "number used again").to_dict("records")
    assert (row["farm"], f"{row['month']:%Y-%m}") == ("Ash", "2026-03")
    assert row["sentence"].startswith("Cow 0 at Ash is in lactation 1 on 2026-03-03 and was in 4 at the visit before")


def test_names_and_order_do_not_matter(tmp_path: Path) -> None:
    rows = [trim(cow, lesion="SU" if cow % 3 else None, zone=4 if cow % 2 else None) for cow in range(40)]
    one = record_quality(ledger(tmp_path, rows), Selection()).table
    renamed = [row | {"cow": "Z" + row["cow"]} for row in rows[::-1]]
    other = record_quality(ledger(tmp_path, renamed, name="m"), Selection()).table
    pd.testing.assert_frame_equal(one, other)


def test_too_little_is_an_answer(tmp_path: Path) -> None:
    empty = record_quality(ledger(tmp_path, []), Selection())
    assert empty.empty and "Not enough to say" in " ".join(empty.cautions)
    one = record_quality(ledger(tmp_path, [trim(1)], name="m"), Selection())
    assert set(one.table["check"]) == {"completeness"}
    assert "Not enough to say on: scores, last digit, lesion mix." in one.cautions
    assert record_quality(ledger(tmp_path, [trim(1)], name="n"), Selection(allowed=())).empty


def test_the_demonstration_herds(demo_ledger: Ledger) -> None:
    """Gauges were read without favourite digits, trimmers score as the others do, healthy cows were written down;
    the visits of unstated kind that were left so are missed; and a herd that moves between grass and a pack
    shifts its lesions, which is a question and no fault."""
    table = record_quality(demo_ledger, Selection()).table
    digits = table[table["check"] == "last digit"]
    assert len(digits) >= 9 and (digits["p_adjusted"] > 0.05).all()
    kv = table[(table["check"] == "scores") & (table["trimmer"] == "KV")]
    assert len(kv) == 5 and (kv["p_adjusted"] > 0.05).all()
    healthy = table[(table["check"] == "healthy cows") & (table["field"] == "visits")]
    assert (healthy["share"] < 0.05).all()
    stated = table[(table["check"] == "completeness") & (table["field"] == "visit_kind") & table["month"].isna()]
    assert stated["share"].min() < 0.95
    mix = table[table["check"] == "lesion mix"]
    shifted = mix[mix["p_adjusted"] < 0.05]
    assert len(shifted) < 0.2 * len(mix) and "Long Heath" in set(shifted["farm"])
    one = check(demo_ledger, "completeness", Selection(farms=("Nether Ash",), since=dt.date(2026, 1, 1)))
    assert set(one["trimmer"]) <= {"MO", "TB"} and one["month"].min() >= pd.Timestamp("2026-01-01")
