"""The sheets go through the intake: clean where they are clean, set aside where they are wrong on purpose."""

from __future__ import annotations

from pathlib import Path

import pytest

from evenfoot.analytics.intake import check_file
from evenfoot.sample_data import FILES, MESSY, truths

KIND = {"register": "register", "housing": "housing", "changes": "changes", "locomotion": "locomotion"}


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.name)
def test_every_row_of_the_demonstration_is_understood(path: Path) -> None:
    sheets = check_file(path, path.name)
    kinds = ["trims", "locomotion"] if path.suffix == ".xlsx" else [KIND.get(path.stem, "trims")]
    assert [sheet.kind for sheet in sheets] == kinds
    for sheet in sheets:
        assert sheet.rows_read == len(sheet.records) > 0
        assert sheet.set_aside.empty, sheet.set_aside


def test_the_notebook_is_read_but_for_its_planted_rows() -> None:
    (sheet,) = check_file(MESSY, MESSY.name)
    assert sheet.kind == "trims"
    # Two findings in one cell are read; of the others three are no records, and four lose the cell alone.
    bad = [one for one in truths.MESSY_BAD_ROWS if one.value != "ulcer + wart"]
    assert sorted(sheet.set_aside["row"]) == [one.row for one in bad]
    assert (sheet.held, sheet.blanked) == (3, 4)
    assert sheet.rows_read == len(sheet.records) + 3
    assert set(sheet.records["farm"]) == {truths.MESSY_FARM}
    assert sheet.records["toe_length_mm"].dropna().between(65, 100).all()
    assert set(sheet.records["visit_date"].dt.strftime("%Y-%m-%d")) == {
        "2026-03-14",
        "2026-04-07",
        "2026-09-26",
        "2026-10-05",
    }
