"""What a person reads instead of a column name or a code."""

from __future__ import annotations

import datetime as dt
import re
from typing import Any

import pandas as pd

from analytics.trade.feet import CLAW_NAMES, FOOT_NAMES, ZONES
from analytics.trade.lesions import LESIONS
from dashboard.charts.theme import number, percent, ratio

COLUMNS: dict[str, str] = {
    "farm": "Farm",
    "month": "Month",
    "quarter": "Quarter",
    "season": "Season",
    "year": "Year",
    "period": "Period",
    "housing": "Housing",
    "floor": "Floor",
    "bedding": "Bedding",
    "wetness": "Wetness underfoot",
    "group": "Group",
    "parity": "Lactation",
    "breed": "Breed",
    "sire": "Sire",
    "trimmer": "Trimmer",
    "visit_kind": "Kind of visit",
    "visit_date": "Visit",
    "foot": "Foot",
    "limb": "Front or hind",
    "claw": "Claw",
    "zone": "Zone",
    "lesion": "Lesion",
    "lesion_detail": "Lesion, in detail",
    "family": "Kind of lesion",
    "severity": "Severity",
    "dd_stage": "Stage of digital dermatitis",
    "cow": "Cow",
    "cows": "Cows",
    "what": "What",
    "cases": "With a lesion",
    "at_risk": "Looked at",
    "prevalence": "Share",
    "low": "Interval from",
    "high": "Interval to",
    "n_farms": "Farms",
    "n_visits": "Visits",
    "scored": "Scored",
    "lame": "Lame",
    "lame_prevalence": "Share lame",
    "lame_low": "Lame, interval from",
    "lame_high": "Lame, interval to",
    "severe": "Severely lame",
    "severe_prevalence": "Share severely lame",
    "severe_low": "Severely lame, interval from",
    "severe_high": "Severely lame, interval to",
    "mean_score": "Mean score",
    "scale": "Scale",
    "score": "Locomotion score",
    "locomotion_score": "Locomotion score",
    "locomotion_scale": "Scale",
    "risk_ratio": "Risk ratio",
    "rr_low": "Risk ratio, interval from",
    "rr_high": "Risk ratio, interval to",
    "odds_ratio": "Odds ratio",
    "or_low": "Odds ratio, interval from",
    "or_high": "Odds ratio, interval to",
    "adj_odds_ratio": "Adjusted odds ratio",
    "adj_or_low": "Adjusted odds ratio, interval from",
    "adj_or_high": "Adjusted odds ratio, interval to",
    "std_risk": "Standardised share",
    "std_low": "Standardised, interval from",
    "std_high": "Standardised, interval to",
    "p_value": "p",
    "q_value": "p, allowing for many tests",
    "centre": "Centre line",
    "lower": "Lower limit",
    "upper": "Upper limit",
    "ewma": "Moving average",
    "signal": "Signal",
    "past_cases": "With a lesion before",
    "past_at_risk": "Looked at before",
    "past_prevalence": "Share before",
    "difference": "Difference",
    "direction": "Direction",
    "before": "Score before",
    "after": "Score after",
    "share": "Share",
    "findings": "Findings",
    "visits": "Visits",
    "worst": "Highest severity",
    "last": "Newest finding",
    "lesions": "Lesions",
    "feet": "Feet",
    "action": "What was done",
    "recheck_on": "Recheck on",
    "toe_length_mm": "Toe length, mm",
    "toe_length_after_mm": "Toe length after trimming, mm",
    "toe_angle_deg": "Toe angle, degrees",
    "heel_depth_mm": "Heel depth, mm",
    "sole_thickness_mm": "Sole thickness, mm",
    "shed_stage": "Shed stage",
    "toe_break_mm": "Toe broken off beyond the line, mm",
    "herd_size": "Herd size",
    "scorer": "Scorer",
    "note": "Note",
    "starts_on": "From",
    "ends_on": "To",
    "calved_on": "Calved",
    "moved_on": "Moved",
    "birth_date": "Born",
    "new_cases": "New cases",
    "cow_months": "Cow-months",
    "rate_per_100": "New cases per 100 cow-months",
    "rate_low": "Rate, interval from",
    "rate_high": "Rate, interval to",
    "rate_ratio": "Rate ratio",
    "level": "Same cow or claw",
    "recurred": "Came back",
    "median_days": "Days until half came back",
    "free_180": "Free after 180 days",
    "free_180_low": "After 180 days, interval from",
    "free_180_high": "After 180 days, interval to",
    "free_365": "Free after 365 days",
    "free_365_low": "After 365 days, interval from",
    "free_365_high": "After 365 days, interval to",
    "times": "Times",
    "a": "One",
    "b": "The other",
    "pairs": "Cows or feet in common",
    "agreement": "Given the same",
    "agreement_low": "Given the same, interval from",
    "agreement_high": "Given the same, interval to",
    "kappa": "Kappa",
    "kappa_low": "Kappa, interval from",
    "kappa_high": "Kappa, interval to",
    "weights": "Near misses",
    "same_day": "On the same day",
    "bias_p_value": "p, that one scores higher",
    "daughters": "Daughters",
    "rate": "Share",
    "shrunken": "Drawn towards the mean",
    "shrunken_low": "Drawn, interval from",
    "shrunken_high": "Drawn, interval to",
    "funnel_low": "Luck alone, from",
    "funnel_high": "Luck alone, to",
    "outside": "Outside luck",
    "rank": "Place",
    "rank_low": "Place, interval from",
    "rank_high": "Place, interval to",
    "cost": "Cost",
    "cost_low": "Cost, interval from",
    "cost_high": "Cost, interval to",
    "currency": "Currency",
    "cost_a_case": "Cost of a case",
    "price_from": "Cost of a case, from",
    "saving_if_halved": "Saved if halved",
    "saving_low": "Saved, interval from",
    "saving_high": "Saved, interval to",
    "points": "Difference to be seen",
    "prevalence_then": "Share then",
    "needed": "Needed in each group",
    "needed_independent": "Needed if each stood alone",
    "at_hand": "At hand",
    "enough": "Enough",
    "detectable_fall": "Smallest fall the number at hand shows",
    "detectable_rise": "Smallest rise the number at hand shows",
    "from_state": "Before",
    "to_state": "After",
    "transition": "Step",
    "of": "Out of",
    "animals": "Different cows",
    "term": "What",
    "estimate": "Estimate",
    "estimate_low": "Estimate, interval from",
    "estimate_high": "Estimate, interval to",
    "p_adjusted": "p, allowing for many tests",
    "trims": "Trims",
    "trimmers": "Trimmers",
    "farms": "Farms",
    "effect": "Log odds against the mean sire",
    "events": "Came back",
    "words": "In words",
    "ewma_lower": "Moving average, lower limit",
    "ewma_upper": "Moving average, upper limit",
    "fitted": "Fitted",
    "counterfactual": "Had it gone on as before",
    "cf_low": "As before, interval from",
    "cf_high": "As before, interval to",
    "check": "Check",
    "field": "Field",
    "n": "Records",
    "sentence": "In words",
    "clusters": "Clusters",
    "design_effect": "Design effect",
    "icc": "Share of the variance between people",
    "date": "Day",
    "change": "Change",
    "changed_on": "On",
    "mean": "Mean",
    "mean_low": "Mean, interval from",
    "mean_high": "Mean, interval to",
    "sd": "Standard deviation",
    "q1": "A quarter are below",
    "median": "Half are below",
    "q3": "Three quarters are below",
    "mm_per_month": "Millimetres a month",
    "raw_mean": "As measured, mm a month",
    "shrink_weight": "Weight of the records",
    "looks_in_pairs": "Pairs of looks",
    "months": "Months",
    "seen": "Looked at",
    "due_on": "Due",
    "who": "For whom",
    "reason": "Why",
    "days_in_milk": "Days in milk",
    "looked_on": "Last looked at",
    "expected_mm": "Expected toe, mm",
    "expected_low": "Toe, interval from",
    "expected_high": "Toe, interval to",
    "toe_from": "Toe known from",
    "kind": "Kind of visit",
    "cow_list": "Which cows",
}
"""Heading of every column that measures give."""

LIMBS = {"front": "front feet", "hind": "hind feet"}
CLAWS = {claw: f"{name} claw" for claw, name in CLAW_NAMES.items()}
FAMILIES = {
    "infectious": "infectious",
    "horn": "horn",
    "skin growth": "growth of skin",
    "shape": "shape of claw",
    "other": "other",
}
HOUSINGS = {
    "freestall": "freestall (cubicles)",
    "tie-stall": "tie stall",
    "bedded-pack": "bedded pack",
    "pasture": "pasture",
}
WETNESS = {
    "always-wet": "always wet",
    "always-dry": "always dry",
    "mixed": "mixed wet and dry",
    "wet-dry-cycles": "wet and dry in turns",
}
VISIT_KINDS = {
    "whole-herd": "whole-herd visit",
    "part-herd": "part-herd visit",
    "lame-cow": "lame-cow call",
    "recheck": "recheck",
    "scoring": "scoring",
    "unknown": "kind not known",
}
ACTIONS = {
    "trim": "trimmed",
    "block": "block put on",
    "wrap": "wrap put on",
    "refer": "referred to the veterinarian",
    "other": "other",
}
WHATS = {"any": "any lesion", "lame": "lame", "severe": "severely lame"}

_WORDS: dict[str, dict[str, str]] = {
    "limb": LIMBS,
    "claw": CLAWS,
    "family": FAMILIES,
    "housing": HOUSINGS,
    "wetness": WETNESS,
    "visit_kind": VISIT_KINDS,
    "action": ACTIONS,
}

_SHARES = {
    "prevalence",
    "low",
    "high",
    "share",
    "difference",
    "past_prevalence",
    "centre",
    "lower",
    "upper",
    "ewma",
    "std_risk",
    "std_low",
    "std_high",
    "free_180",
    "free_180_low",
    "free_180_high",
    "free_365",
    "free_365_low",
    "free_365_high",
    "agreement",
    "agreement_low",
    "agreement_high",
    "rate",
    "shrunken",
    "shrunken_low",
    "shrunken_high",
    "funnel_low",
    "funnel_high",
    "ewma_lower",
    "ewma_upper",
    "fitted",
    "counterfactual",
    "cf_low",
    "cf_high",
    "points",
    "icc",
    "detectable_fall",
    "detectable_rise",
}
_RATIOS = {"risk_ratio", "odds_ratio", "adj_odds_ratio", "rate_ratio"}
_MONTHS = {"month", "period"}
_MONTH = re.compile(r"\d{4}-(0[1-9]|1[0-2])")


def column_label(column: str) -> str:
    """The heading of a column; a name that is not known loses its underscores.

    Examples
    --------
    >>> column_label("at_risk"), column_label("some_new_thing")
    ('Looked at', 'Some new thing')
    """
    if column in COLUMNS:
        return COLUMNS[column]
    words = str(column).replace("_", " ").strip()
    return words[:1].upper() + words[1:]


def lesion_label(code: str) -> str:
    """The name of a lesion by its code.

    Examples
    --------
    >>> lesion_label("SU")
    'Sole ulcer'
    """
    lesion = LESIONS.get(code)
    if lesion is None:
        return str(code)
    return lesion.name[:1].upper() + lesion.name[1:]


def zone_label(zone: int, *, with_number: bool = True) -> str:
    """The name of a zone by its number.

    Examples
    --------
    >>> zone_label(6)
    'zone 6, bulb of the heel'
    """
    known = ZONES.get(int(zone))
    name = known.name if known is not None else "other"
    return f"zone {int(zone)}, {name}" if with_number else name


def foot_label(foot: str) -> str:
    """The foot in words after its abbreviation.

    Examples
    --------
    >>> foot_label("LH")
    'LH, left hind'
    """
    return f"{foot}, {FOOT_NAMES[foot]}" if foot in FOOT_NAMES else str(foot)


def date_label(value: Any, column: str = "visit_date") -> str:
    """A day, month or quarter.

    Examples
    --------
    >>> date_label(pd.Timestamp("2026-01-01"), "month"), date_label(pd.Timestamp("2026-01-01"), "quarter")
    ('Jan 2026', 'Jan to Mar 2026')
    """
    day = pd.Timestamp(value)
    if column in _MONTHS:
        return f"{day:%b %Y}"
    if column == "quarter":
        return f"{day:%b} to {day + pd.DateOffset(months=2):%b %Y}"
    return f"{day.day} {day:%b %Y}"


def value_label(column: str, value: Any) -> str:
    """A cell as a person reads it: names for codes, percentages for shares, months for dates.

    Examples
    --------
    >>> value_label("lesion", "SU"), value_label("claw", "lateral"), value_label("parity", "3+")
    ('Sole ulcer', 'Outer claw', 'Lactation 3 and later')
    >>> value_label("p_value", 0.00001), value_label("cases", 12), value_label("note", None)
    ('under 0.001', '12', '')
    """
    if _missing(value):
        return ""
    if isinstance(value, (pd.Timestamp, dt.date)):
        return date_label(value, column)
    if column in ("lesion", "lesion_detail") or (column == "what" and value in LESIONS):
        return lesion_label(str(value))
    if column == "what":
        return _sentence(WHATS.get(str(value), str(value)))
    if column == "zone":
        return _sentence(zone_label(int(value)))
    if column == "foot":
        return foot_label(str(value))
    if column == "parity":
        return _parity(str(value))
    if column in _WORDS:
        return _sentence(_WORDS[column].get(str(value), str(value)))
    if column in ("farm", "cow", "sire", "trimmer", "note", "group", "breed", "scorer"):
        text = str(value)
        return _sentence(text) if text == "not recorded" else text
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)) or hasattr(value, "dtype"):
        return _figure(column, float(value))
    return _sentence(str(value))


def what_label(what: str) -> str:
    """A row of the herd review by name.

    Examples
    --------
    >>> what_label("severe"), what_label("DD")
    ('Severely lame', 'Digital dermatitis')
    """
    return value_label("what", what)


def group_label(group: Any) -> str:
    """A compared group by name, whatever it was grouped by.

    Examples
    --------
    >>> group_label("tie-stall"), group_label("2026-03"), group_label("dry cows")
    ('Tie stall', 'Mar 2026', 'Dry cows')
    """
    text = str(group)
    for words in (HOUSINGS, WETNESS, VISIT_KINDS, FAMILIES):
        if text in words:
            return _sentence(words[text])
    if _MONTH.fullmatch(text):
        return date_label(f"{text}-01", "month")
    return _sentence(text)


def _figure(column: str, value: float) -> str:
    if column.endswith("p_value") or column in ("q_value", "p_adjusted"):
        return "under 0.001" if value < 0.001 else f"{value:.3f}"
    if column == "year":
        return f"{int(value)}"
    if column in _RATIOS or column.startswith(("rr_", "or_", "adj_or_")):
        return ratio(value)
    if column in _SHARES or column.endswith(("_prevalence",)) or column.startswith(("lame_", "severe_")):
        return percent(value)
    return number(value)


def _parity(text: str) -> str:
    if text == "not recorded":
        return "Not recorded"
    return f"Lactation {text[:-1]} and later" if text.endswith("+") else f"Lactation {text}"


def _missing(value: Any) -> bool:
    return value is None or (not isinstance(value, (list, dict, tuple)) and bool(pd.isna(value)))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]
