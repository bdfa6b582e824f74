"""Rows without names: no name is left, every row looks like at least k cows, and the counts are the ledger's own."""

from __future__ import annotations

from pathlib import Path

import pytest

from analytics.ledger import Ledger
from analytics.ledger.anonymous import COLUMNS, TELLING, K, anonymous_rows, write_anonymous
from analytics.mistake import Mistake
from tests.sheets import checked, ledger_of


def rows(farm: str, cows: range, **more: object) -> list[dict[str, object]]:
    return [{"farm": farm, "visit_date": "2026-03-02", "cow": f"{farm}-{cow}", **more} for cow in cows]


@pytest.mark.parametrize("k", [2, 5, 11])
def test_every_row_looks_like_k_cows(demo_ledger: Ledger, k: int) -> None:
    done = anonymous_rows(demo_ledger, k=k)
    sizes = done.table.groupby(list(TELLING), dropna=False)["cow"].nunique()
    assert len(done.table) and sizes.min() >= k
    everything = demo_ledger.frame(
        "SELECT COUNT(*) AS n FROM (SELECT DISTINCT farm, cow, visit_kind, DATE_TRUNC('month', visit_date) FROM trims)"
    )
    assert len(done.table) + done.left_out == int(everything["n"].iloc[0])


def test_no_name_and_no_day_is_left(demo_ledger: Ledger, tmp_path: Path) -> None:
    write_anonymous(demo_ledger, tmp_path / "rows.csv")
    text = (tmp_path / "rows.csv").read_text()
    assert text.startswith(",".join(COLUMNS))
    named = demo_ledger.frame("SELECT DISTINCT farm, trimmer, sire, breed FROM trims")
    for name in {str(one) for column in named for one in named[column].dropna()}:
        assert name not in text, name
    assert f"k = {K}" in (tmp_path / "rows-about.txt").read_text()
    with pytest.raises(Mistake, match="there already"):
        write_anonymous(demo_ledger, tmp_path / "rows.csv")


def test_a_cow_bears_another_name_each_month_and_run(tmp_path: Path) -> None:
    later = [{**row, "visit_date": "2026-04-02"} for row in rows("Ash", range(6))]
    ledger = ledger_of(tmp_path / "l.duckdb", checked("trims", rows("Ash", range(6)) + later))
    first, second = (anonymous_rows(ledger).table for _ in range(2))
    assert first["cow"].nunique() == 12
    assert not set(first["cow"]) & set(second["cow"])
    assert not set(first["farm"]) & set(second["farm"])


def test_what_tells_a_few_cows_apart_goes_blank_then_out(tmp_path: Path) -> None:
    ledger = ledger_of(
        tmp_path / "l.duckdb",
        checked(
            "trims",
            [
                *rows("Enough", range(5), parity=1, housing="freestall"),
                *rows("Mixed", range(4), parity=1, housing="freestall", foot="LH", lesion="SU"),
                *rows("Mixed", range(4, 7), parity=2, housing="freestall"),
                *rows("Few", range(4), parity=1, housing="pasture"),
            ],
        ),
    )
    done = anonymous_rows(ledger)
    assert (len(done.table), done.left_out, done.blanked) == (12, 4, 7)
    assert sorted(done.table["lactation"].fillna("").value_counts().to_dict().items()) == [("", 7), ("1", 5)]
    assert (done.table["lesions"] == "SU").sum() == 4
    with pytest.raises(Mistake, match="nothing can be given"):
        write_anonymous(ledger, tmp_path / "none.csv", farms=["Few"])
    with pytest.raises(Mistake, match="not anonymous"):
        anonymous_rows(ledger, k=1)
