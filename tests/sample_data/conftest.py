"""The demonstration sheets read with plain pandas, so that the counts check the sheets and nothing else."""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pytest

from evenfoot.sample_data import FILES, HERDS, farms, generate


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sheets, generated afresh."""
    folder = tmp_path_factory.mktemp("herds")
    generate.write_herds(folder)
    return folder


def _sheets(kind: str) -> pd.DataFrame:
    plain = [pd.read_csv(path, dtype={"cow": str}) for path in FILES if path.name.endswith(f"{kind}.csv")]
    tab = pd.read_excel(HERDS / "osier_end.xlsx", sheet_name=kind, dtype={"cow": str}, engine="calamine")
    return pd.concat([*plain, tab], ignore_index=True)


@pytest.fixture(scope="session")
def register() -> pd.DataFrame:
    return pd.read_csv(HERDS / "register.csv", dtype={"cow": str}, parse_dates=["entered_on", "left_on"])


@pytest.fixture(scope="session")
def trims() -> pd.DataFrame:
    """Every trim row, with the housing of the cow's group on the day beside it."""
    rows = _sheets("trims")
    rows["visit_date"] = pd.to_datetime(rows["visit_date"])
    rows["recheck_on"] = pd.to_datetime(rows["recheck_on"])
    rows["case"] = rows["lesion"].where((rows["lesion"] != "none") & (rows["dd_stage"] != "M0"))
    days = rows[["farm", "group", "visit_date"]].drop_duplicates()
    stays = [farms.stay_of(farm, group, day.date()) for farm, group, day in days.itertuples(index=False, name=None)]
    days["housed"], days["on_floor"] = [stay.housing for stay in stays], [stay.floor for stay in stays]
    days["wetness"] = [stay.wetness for stay in stays]
    return rows.merge(days, on=["farm", "group", "visit_date"])


@pytest.fixture(scope="session")
def whole_herd(trims: pd.DataFrame) -> pd.DataFrame:
    """One row a cow and whole-herd visit, with a column a lesion."""
    firsts = {day.isoformat() for farm in farms.FARMS for day in farm.whole_herd}
    whole = trims[
        (trims["visit_kind"] == "whole-herd")
        | (trims["visit_kind"].isna() & ~trims["visit_date"].isin(pd.to_datetime(list(SIZE_UNKNOWN))))
    ]
    assert firsts <= set(whole["visit_date"].dt.date.astype(str))
    key = ["farm", "visit_date", "cow"]
    about = whole.drop_duplicates(key)[[*key, "trimmer", "housed", "on_floor", "parity"]]
    had = pd.crosstab([whole[name] for name in key], whole["case"]).gt(0).reset_index()
    table = about.merge(had, on=key, how="left")
    lesions = [name for name in table.columns if name.isupper()]
    table[lesions] = table[lesions].fillna(False).astype(bool)
    return table.assign(any_lesion=table[lesions].any(axis=1))


SIZE_UNKNOWN = [day for farm in farms.FARMS for day in farm.size_left_blank]


@pytest.fixture(scope="session")
def scores() -> pd.DataFrame:
    rows = _sheets("locomotion")
    rows["date"] = pd.to_datetime(rows["date"])
    rows["lame"] = rows["score"].ge(3).where(rows["scale"] == "1-5", rows["score"].ge(2))
    return rows
