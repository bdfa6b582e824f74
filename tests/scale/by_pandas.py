"""A trim sheet brought in as a careful hand would write it in pandas: read, understood, checked, resolved, stored."""

from __future__ import annotations

from pathlib import Path

import pandas as pd

from evenfoot.analytics.domain import locomotion
from evenfoot.analytics.domain.feet import FEET, limb_of, understand_claw, understand_foot
from evenfoot.analytics.domain.housing import understand_floor, understand_housing
from evenfoot.analytics.domain.lesions import LESIONS, parent_of, says_nothing_found, understand_lesion
from evenfoot.analytics.domain.visits import WHOLE_HERD_SHARE, understand_visit_kind
from evenfoot.analytics.intake.checks.plausibility import RANGES
from evenfoot.analytics.ledger.derive import VISIT_GAP_DAYS

DAY = ["farm", "cow", "visit_date"]
OF_DAY = ["group", "housing", "floor", "parity", "breed", "trimmer", "visit_kind", "herd_size"]


def checked(sheet: Path) -> tuple[pd.DataFrame, int]:
    """The rows that can be kept, each once, and how many are refused."""
    frame = pd.read_csv(sheet, dtype="str", keep_default_na=False)
    text = frame.apply(lambda column: column.str.strip())
    none = text == ""
    out = pd.DataFrame(index=frame.index)
    bad = pd.Series(False, index=frame.index)
    for name in ("visit_date", "recheck_on"):
        out[name] = pd.to_datetime(text[name].mask(none[name]), format="%Y-%m-%d", errors="coerce")
        bad |= out[name].isna() & ~none[name]
    for name, understand in {
        "visit_kind": understand_visit_kind,
        "housing": understand_housing,
        "floor": understand_floor,
        "foot": understand_foot,
        "claw": understand_claw,
        "lesion": understand_lesion,
    }.items():
        words = {word: understand(word) for word in text[name].unique() if word}
        out[name] = text[name].map(words)
        nothing = text[name].map({word: says_nothing_found(word) for word in text[name].unique()})
        bad |= out[name].isna() & ~none[name] & ~(nothing if name == "lesion" else False)
    parents = {code: parent_of(code) for code in out["lesion"].dropna().unique()}
    out["lesion_detail"] = out["lesion"].map({code: code for code, top in parents.items() if code != top})
    out["lesion"] = out["lesion"].map(parents)
    for name in ("herd_size", "parity", "zone", "severity", "locomotion_score"):
        out[name] = pd.to_numeric(text[name].mask(none[name]), errors="coerce").astype("Int64")
        low, high = RANGES[name][:2] if name in RANGES else (1, 5)
        bad |= (out[name].isna() & ~none[name]) | ((out[name] < low) | (out[name] > high)).fillna(False)
    bad |= out["visit_date"].isna() | none["farm"] | none["cow"] | (out["visit_date"] > pd.Timestamp.today())
    bad |= out["claw"].notna() & out["foot"].isna()
    bad |= (out["zone"].notna() | out["severity"].notna()) & out["lesion"].isna()
    bad |= out["recheck_on"] < out["visit_date"]
    for name in ("farm", "cow", "trimmer", "group", "breed", "action", "locomotion_scale", "dd_stage", "note"):
        out[name] = text[name].mask(none[name]).str.replace(r"\s+", " ", regex=True)
    return out[~bad].drop_duplicates(), int(bad.sum())


def stored(sheet: Path, folder: Path) -> tuple[dict[str, int], int]:
    """The same, resolved into trims, findings, scores and cows and written as Parquet; rows of each, and refused."""
    rows, refused = checked(sheet)
    tables = {"trim_rows": rows.assign(row_key=pd.util.hash_pandas_object(rows, index=False)), **resolved(rows)}
    for name, table in tables.items():
        table.to_parquet(folder / f"{name}.parquet", index=False)
    return {name: len(table) for name, table in tables.items()}, refused


def resolved(rows: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """What counting asks: one row a cow and day with its attributes, and findings and scores that carry them."""
    # Categories are what pandas groups and sorts quickest.
    kept = rows.assign(**{name: rows[name].astype("category").cat.as_ordered() for name in ("farm", "cow", *OF_DAY)})
    by_day = kept.groupby(DAY, observed=True, sort=True)
    # Where the rows of a day differ the first counts, which spares pandas comparing words.
    trims = by_day[OF_DAY].first().reset_index()
    for foot in FEET:
        trims[f"seen_{foot.lower()}"] = 1
    unsaid = trims[trims["visit_kind"].isna()]
    days = unsaid[["farm", "visit_date"]].drop_duplicates().sort_values(["farm", "visit_date"])
    far = days.groupby("farm", observed=True)["visit_date"].diff() > pd.Timedelta(days=VISIT_GAP_DAYS)
    days["run"] = (far | (days["farm"] != days["farm"].shift())).cumsum()
    unsaid = unsaid[["farm", "visit_date", "cow", "herd_size"]].merge(days, on=["farm", "visit_date"])
    once = unsaid.drop_duplicates(["run", "cow"]).groupby("run").size()
    whole = once >= WHOLE_HERD_SHARE * unsaid.groupby("run")["herd_size"].first().astype("int64")
    days["derived"] = days["run"].map(whole.map({True: "whole-herd", False: "part-herd"}))
    trims = trims.merge(days[["farm", "visit_date", "derived"]], on=["farm", "visit_date"], how="left")
    trims["kind_from"] = trims["visit_kind"].notna().map({True: "stated", False: "derived"})
    trims["visit_kind"] = trims["visit_kind"].astype("object").fillna(trims.pop("derived"))
    carried = trims.drop(columns=[name for name in trims.columns if name.startswith("seen_")])
    found = kept.loc[kept["lesion"].notna() & (kept["dd_stage"] != "M0")]
    found = found[[*DAY, "foot", "claw", "zone", "lesion", "lesion_detail", "severity", "dd_stage", "action",
                   "recheck_on"]]  # fmt: skip
    found = found.merge(carried, on=DAY).sort_values(["farm", "visit_date", "cow"], kind="stable")
    found["limb"] = found["foot"].map({foot: limb_of(foot) for foot in FEET})
    found["family"] = found["lesion"].map({code: lesion.family for code, lesion in LESIONS.items()})
    scored = kept[kept["locomotion_score"].notna() & kept["locomotion_scale"].notna()]
    scores = scored.groupby([*DAY, "locomotion_scale"], observed=True)["locomotion_score"].max().reset_index()
    for cut in ("lame", "severe"):
        least = scores["locomotion_scale"].map({name: getattr(scale, cut) for name, scale in locomotion.SCALES.items()})
        scores[cut] = (scores["locomotion_score"] >= least).astype("int64")
    scores = scores.merge(carried, on=DAY).sort_values(["farm", "visit_date", "cow"], kind="stable")
    cows = trims.groupby(["farm", "cow"], observed=True)[["breed"]].first().reset_index()
    return {
        "trims": trims.sort_values(["farm", "visit_date", "cow"]),
        "findings": found,
        "scores": scores,
        "cows": cows,
    }
