"""The columns of the workbook: heading, what it says, and how its cells are written."""

from __future__ import annotations

from dataclasses import dataclass

SHARE, WHOLE, NUMBER, DAY, MONTH, TEXT = "share", "whole", "number", "day", "month", "text"


@dataclass(frozen=True)
class Column:
    """One column: its heading and meaning in English (the key of their translation), and the sort of its cells."""

    heading: str
    meaning: str
    sort: str


LOW = "Lower end of the interval"
HIGH = "Upper end of the interval"

COLUMNS: dict[str, Column] = {
    "lesion": Column("Lesion", "Name of the lesion; any lesion stands for one or more of them", TEXT),
    "visit": Column("Visit", "This visit, the last one, or that of the same season last year", TEXT),
    "first": Column("First day", "First day of the visit", DAY),
    "last": Column("Last day", "Last day of the visit", DAY),
    "cases": Column("With it", "Cows, claws, trims or scorings that show it; for costs, new cases", WHOLE),
    "at_risk": Column("Looked at", "Cows, claws, trims or scorings looked at", WHOLE),
    "prevalence": Column("Share", "Those with it out of those looked at", SHARE),
    "low": Column("Interval from", LOW, SHARE),
    "high": Column("Interval to", HIGH, SHARE),
    "verdict": Column("Verdict", "Better, worse or no clear change against the herd's own earlier visits", TEXT),
    "n_visits": Column("Visit days", "Days on which cows were trimmed", WHOLE),
    "limb": Column("Front or hind", "Front or hind feet", TEXT),
    "claw": Column("Claw", "Outer or inner claw; empty for skin between the claws", TEXT),
    "foot": Column("Foot", "Which foot", TEXT),
    "action": Column("What was done", "What was done there when it was found", TEXT),
    "recheck_on": Column("Look again on", "The day asked for", DAY),
    "also": Column("Also", "Further places of the same cow", TEXT),
    "zone": Column("Zone", "Zone of the foot map, by number and name", TEXT),
    "period": Column("Month", "Month of scoring", MONTH),
    "scored": Column("Scored", "Scorings in the month", WHOLE),
    "lame": Column("Lame", "Scorings of 3 or more on the 1 to 5 scale, 2 or more on the 0 to 3 scale", WHOLE),
    "lame_prevalence": Column("Share lame", "Lame out of scored", SHARE),
    "lame_low": Column("Lame from", LOW, SHARE),
    "lame_high": Column("Lame to", HIGH, SHARE),
    "severe": Column("Severely lame", "Scorings of 4 or more on the 1 to 5 scale, 3 on the 0 to 3 scale", WHOLE),
    "severe_prevalence": Column("Share severely lame", "Severely lame out of scored", SHARE),
    "severe_low": Column("Severely lame from", LOW, SHARE),
    "severe_high": Column("Severely lame to", HIGH, SHARE),
    "cows": Column("Cows", "Different cows", WHOLE),
    "measure": Column("Measure", "What was measured, or what the share is of", TEXT),
    "n": Column("Readings", "Claws or feet measured", WHOLE),
    "mean": Column("Mean or share", "Mean in the unit given, or a share between 0 and 1", NUMBER),
    "mean_low": Column("Mean from", LOW, NUMBER),
    "mean_high": Column("Mean to", HIGH, NUMBER),
    "sd": Column("Standard deviation", "Spread of the readings", NUMBER),
    "median": Column("Median", "Half of the readings are below", NUMBER),
    "unit": Column("Unit", "Unit of the mean", TEXT),
    "shed_stage": Column("Shed stage", "Stage of natural shedding, 0 to 5", WHOLE),
    "feet": Column("Feet", "Feet at the stage", WHOLE),
    "seen": Column("Feet looked at", "Feet with a stage on record", WHOLE),
    "share": Column("Share", "Those with it out of those looked at", SHARE),
    "rank": Column("Place", "Place in the list, the most pressing first", WHOLE),
    "cow": Column("Cow", "Her number or name", TEXT),
    "due_on": Column("Due", "Day on which she is due", DAY),
    "who": Column("For whom", "Veterinarian, trimmer, or to watch", TEXT),
    "reason": Column(
        "Why", "Why the verdict is what it is; of a cow all her reasons, the one that places her first", TEXT
    ),
    "group": Column("Group", "Her group, as last known", TEXT),
    "days_in_milk": Column("Days in milk", "Days since her last calving", WHOLE),
    "looked_on": Column("Last looked at", "Newest trim visit of any kind", DAY),
    "month": Column("Month", "Month of the records", MONTH),
    "centre": Column("Centre", "Share in the months the limits rest on", SHARE),
    "lower": Column("Lower limit", "Three standard errors below the centre", SHARE),
    "upper": Column("Upper limit", "Three standard errors above the centre", SHARE),
    "signal": Column("Signal", "Why the month is unlike the others; empty where it is not", TEXT),
    "date": Column("Day of the change", "Day from which the change held", DAY),
    "what": Column("What changed", "The change, as it was recorded", TEXT),
    "agreed_on": Column("Agreed on", "Day on which it was agreed", DAY),
    "text": Column("What was agreed", "What is to be done, as it was written down", TEXT),
    "by_whom": Column("Who does it", "Who does it, as it was written down", TEXT),
    "due_by": Column("By when", "Day by which it is to be done", DAY),
    "place": Column("Place", "Where on the foot, as it was written down", TEXT),
    "state": Column("State", "Overdue, open or done on the day of the report", TEXT),
    "done_on": Column("Done on", "Day on which it was done", DAY),
    "outcome": Column("How it came out", "How it came out, as it was written down", TEXT),
    "since": Column("What became of the lesion", "Cows with it at whole-herd visits before and since", TEXT),
    "term": Column("Term", "Share before or after, or a ratio of odds", TEXT),
    "estimate": Column("Estimate", "The figure", NUMBER),
    "est_low": Column("Estimate from", LOW, NUMBER),
    "est_high": Column("Estimate to", HIGH, NUMBER),
    "p_value": Column("p", "Chance of at least such a difference if there were none", NUMBER),
    "farms": Column("Farms", "Farms on record in the period", WHOLE),
    "shrunken": Column("Share, allowing for luck", "Share drawn towards the mean of the farms", SHARE),
    "shrunken_low": Column("Allowing for luck, from", LOW, SHARE),
    "shrunken_high": Column("Allowing for luck, to", HIGH, SHARE),
    "rank_low": Column("Place from", "Lowest place that agrees with the records", WHOLE),
    "rank_high": Column("Place to", "Highest place that agrees with the records", WHOLE),
    "cost": Column("Cost", "New cases times the cost of a case", NUMBER),
    "cost_low": Column("Cost from", LOW, NUMBER),
    "cost_high": Column("Cost to", HIGH, NUMBER),
    "cost_a_case": Column("Cost of a case", "Assumed price of a case", NUMBER),
    "currency": Column("Currency", "Currency and year of the price", TEXT),
    "saving_if_halved": Column("Saved if halved", "Half the cost, before what halving the cases costs", NUMBER),
    "price_from": Column("Price from", "Whose price it is", TEXT),
}
