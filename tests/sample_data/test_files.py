"""The files are the ones the generator writes, and small."""

from __future__ import annotations

import zipfile
from pathlib import Path
from xml.etree.ElementTree import canonicalize

import pandas as pd

from evenfoot.sample_data import FILES, HERDS, MESSY, farms


def test_generating_again_gives_the_committed_sheets(written: Path) -> None:
    committed = {path.name for path in HERDS.iterdir()}
    assert {path.name for path in written.iterdir()} == committed
    for name in committed:
        if not name.endswith(".xlsx"):
            assert (written / name).read_bytes() == (HERDS / name).read_bytes(), name


def test_generating_again_gives_the_committed_workbook(written: Path) -> None:
    # Member by member: how tightly a zip is packed depends on the machine's zlib, and where a name space is declared on
    # which XML library the workbook's writer finds; what is in it must not. Names are compared, not texts: to show
    # how two sheets of megabytes differ would take hours.
    with zipfile.ZipFile(written / "osier_end.xlsx") as new, zipfile.ZipFile(HERDS / "osier_end.xlsx") as old:
        assert [(one.filename, one.date_time) for one in new.infolist()] == [
            (one.filename, one.date_time) for one in old.infolist()
        ]
        differing = [name for name in new.namelist() if canonicalize(new.read(name)) != canonicalize(old.read(name))]
    assert not differing


def test_the_demonstration_loads_every_sheet_but_the_notebook() -> None:
    assert set(FILES) | {MESSY} == set(HERDS.iterdir())
    assert MESSY not in FILES


def test_the_sheets_stay_small() -> None:
    assert sum(path.stat().st_size for path in HERDS.iterdir()) < 6_000_000


def test_the_workbook_has_real_dates_and_two_tabs() -> None:
    tabs = pd.read_excel(HERDS / "osier_end.xlsx", sheet_name=None, engine="calamine")
    assert list(tabs) == ["trims", "locomotion"]
    assert pd.api.types.is_datetime64_any_dtype(tabs["trims"]["visit_date"])


def test_five_farms_of_about_830_cows_over_three_years(register: pd.DataFrame, trims: pd.DataFrame) -> None:
    assert set(register["farm"]) == set(trims["farm"]) == {farm.name for farm in farms.FARMS}
    for day in pd.date_range("2023-11-01", "2026-10-31", periods=12):
        here = (register["entered_on"] <= day) & (register["left_on"].isna() | (register["left_on"] > day))
        assert 800 <= here.sum() <= 870
    assert trims["visit_date"].min() < pd.Timestamp("2023-12-01")
    assert trims["visit_date"].max() <= pd.Timestamp("2026-10-31")
