"""What is built into the demonstration herds, as data.

Everything here is an invented scenario of our own. The sheets in ``herds/`` are drawn from these numbers
with a fixed random start, so a test can ask whether an analysis finds what was put in. Sizes follow the
published figures where there are any; the source stands beside each number. Log-odds throughout unless said
otherwise.

Sources named below:

* Cramer: Cramer et al. 2008, J Dairy Sci 91:3888.
* Solano: Solano et al. 2016, J Dairy Sci 99:6828.
* Kentucky: University of Kentucky, Hoof Trimming of Dairy Cows.
* Tranter & Morris: 1992, N Z Vet J (cows at pasture).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date

RANDOM_START = 20261027


@dataclass(frozen=True)
class Change:
    """Something a farm did on a date, and what it did to the odds of one lesion."""

    farm: str
    on: date
    what: str
    note: str
    lesion: str
    odds_ratio: float


CHANGES = (
    Change("Larkmoor", date(2025, 2, 3), "regular foot bathing", "three milkings a week, both exits", "DD", 0.5),
    Change(
        "Withy Flat",
        date(2025, 1, 20),
        "more straw",
        "bedding topped up every day instead of every other",
        "DD",
        1.0,
    ),
)

Site = tuple[str, str | None]
"""A foot and, for a lesion of the horn, a claw."""

# Shares of the eight claws. Hind lateral first, front medial next [common practice, no source].
HORN_CLAWS: dict[Site, float] = {
    ("LH", "lateral"): 0.35,
    ("RH", "lateral"): 0.35,
    ("LF", "medial"): 0.09,
    ("RF", "medial"): 0.09,
    ("LH", "medial"): 0.035,
    ("RH", "medial"): 0.035,
    ("LF", "lateral"): 0.025,
    ("RF", "lateral"): 0.025,
}
TOE_CLAWS: dict[Site, float] = {
    ("LH", "lateral"): 0.25,
    ("RH", "lateral"): 0.25,
    ("LF", "medial"): 0.2,
    ("RF", "medial"): 0.2,
    ("LH", "medial"): 0.05,
    ("RH", "medial"): 0.05,
}
SKIN_FEET: dict[Site, float] = {
    ("LH", None): 0.44,
    ("RH", None): 0.44,
    ("LF", None): 0.06,
    ("RF", None): 0.06,
}


@dataclass(frozen=True)
class Lesion:
    """How often, where and how badly one lesion occurs.

    ``prevalence`` is the share of cows with it at a whole-herd visit, by housing, off concrete, for a
    trimmer of ordinary sharpness, in a herd, cow and season of the middling sort.
    """

    code: str
    family: str
    prevalence: dict[str, float]
    claws: dict[Site, float]
    zones: dict[int, float]
    second: float
    """Chance of a second site on the same cow."""
    severity: tuple[float, float, float]
    details: dict[str, float] = field(default_factory=dict)
    """Subtype shares; the rest has none written down."""
    parity: float = 0.0
    """Log-odds a lactation."""


def _everywhere(share: float) -> dict[str, float]:
    return {"freestall": share, "tie-stall": share * 0.7, "bedded-pack": share * 0.7, "pasture": share * 0.7}


# Freestall and tie-stall DD, SU, SH: after Cramer [pub]; WL: after Solano [pub]. The rest: our scenario.
# Zones: the usual sites of the published zone map (Shearer and co-authors' extension articles) [pub].
LESIONS: dict[str, Lesion] = {
    lesion.code: lesion
    for lesion in (
        Lesion(
            "DD",
            "infectious",
            {"freestall": 0.27, "tie-stall": 0.078, "bedded-pack": 0.10, "pasture": 0.05},
            SKIN_FEET,
            {10: 0.8, 0: 0.1, 9: 0.1},
            0.35,
            (0.4, 0.4, 0.2),
            parity=-0.15,
        ),
        Lesion(
            "SU",
            "horn",
            {"freestall": 0.045, "tie-stall": 0.043, "bedded-pack": 0.025, "pasture": 0.02},
            HORN_CLAWS,
            {4: 0.85, 5: 0.15},
            0.25,
            (0.35, 0.45, 0.2),
            parity=0.25,
        ),
        Lesion(
            "SH",
            "horn",
            {"freestall": 0.057, "tie-stall": 0.052, "bedded-pack": 0.035, "pasture": 0.03},
            HORN_CLAWS,
            {4: 0.5, 5: 0.3, 2: 0.1, 6: 0.1},
            0.4,
            (0.65, 0.3, 0.05),
            {"SHD": 0.55, "SHC": 0.35},
            parity=0.05,
        ),
        Lesion(
            "WL",
            "horn",
            {"freestall": 0.04, "tie-stall": 0.035, "bedded-pack": 0.025, "pasture": 0.028},
            HORN_CLAWS,
            {3: 0.65, 2: 0.25, 1: 0.1},
            0.15,
            (0.4, 0.4, 0.2),
            {"WLF": 0.6, "WLA": 0.3},
            parity=0.3,
        ),
        Lesion(
            "HHE",
            "infectious",
            {"freestall": 0.03, "tie-stall": 0.02, "bedded-pack": 0.03, "pasture": 0.015},
            SKIN_FEET,
            {6: 1.0},
            0.6,
            (0.6, 0.35, 0.05),
            parity=0.1,
        ),
        Lesion("ID", "infectious", _everywhere(0.01), SKIN_FEET, {0: 1.0}, 0.4, (0.6, 0.35, 0.05)),
        Lesion("IP", "infectious", _everywhere(0.003), SKIN_FEET, {0: 1.0}, 0.0, (0.1, 0.5, 0.4)),
        Lesion("IH", "skin growth", _everywhere(0.025), SKIN_FEET, {0: 1.0}, 0.3, (0.5, 0.35, 0.15), parity=0.15),
        Lesion("BU", "horn", _everywhere(0.005), HORN_CLAWS, {6: 1.0}, 0.1, (0.4, 0.4, 0.2), parity=0.1),
        Lesion("TU", "horn", _everywhere(0.006), TOE_CLAWS, {1: 0.6, 5: 0.4}, 0.1, (0.2, 0.5, 0.3), parity=0.1),
        Lesion("TN", "horn", _everywhere(0.001), TOE_CLAWS, {1: 1.0}, 0.0, (0.0, 0.4, 0.6)),
        Lesion("DS", "horn", _everywhere(0.008), HORN_CLAWS, {4: 0.4, 5: 0.4, 6: 0.2}, 0.2, (0.6, 0.3, 0.1)),
        Lesion("TS", "horn", _everywhere(0.006), TOE_CLAWS, {5: 1.0}, 0.4, (0.6, 0.3, 0.1)),
        Lesion(
            "HF",
            "horn",
            _everywhere(0.01),
            TOE_CLAWS,
            {7: 0.6, 8: 0.4},
            0.1,
            (0.6, 0.3, 0.1),
            {"HFV": 0.5, "HFH": 0.3, "HFA": 0.2},
        ),
        Lesion("CC", "shape", _everywhere(0.012), HORN_CLAWS, {}, 0.5, (0.6, 0.3, 0.1), parity=0.2),
        Lesion("AC", "shape", _everywhere(0.008), HORN_CLAWS, {}, 0.3, (0.7, 0.3, 0.0), parity=0.2),
        Lesion("SW", "other", _everywhere(0.003), SKIN_FEET, {9: 1.0}, 0.0, (0.3, 0.5, 0.2)),
    )
}
DD_HEALED = 0.12
"""Chance that a healed stage (M0) is written down where digital dermatitis was; recorded, but not a case."""
DD_STAGES = {"M1": 0.1, "M2": 0.35, "M3": 0.05, "M4": 0.35, "M4.1": 0.15}

# Walking on concrete loads the inner parts of the foot [common practice, no source]; the sizes are ours.
CONCRETE_ODDS = {"SU": 1.7, "WL": 1.6, "SH": 1.4}

# Spread between cows of one herd on the log-odds scale, sire included.
COW_SPREAD = {"infectious": 0.9, "horn": 0.75, "skin growth": 1.5, "shape": 1.8, "other": 0.3}
MIDDLING_PARITY = 2.4

# Half-sib families: effect of the sire on horn and on infectious lesions. Sires are spread over all farms.
SIRES = {
    "S01": (-0.70, -0.20),
    "S02": (-0.45, 0.35),
    "S03": (-0.35, -0.55),
    "S04": (-0.20, 0.10),
    "S05": (-0.10, -0.30),
    "S06": (0.00, 0.55),
    "S07": (0.05, -0.10),
    "S08": (0.15, 0.20),
    "S09": (0.25, -0.45),
    "S10": (0.35, 0.05),
    "S11": (0.45, 0.60),
    "S12": (0.75, -0.25),
}
BREED = {"Holstein": {}, "Jersey": {"SU": -0.25, "DD": -0.1}, "Brown Swiss": {"DD": -0.2}}

# A lesion this cow had in the last RECURS_WITHIN days comes back more readily, and mostly to the same site.
RECURS_WITHIN = 270
RECURS = 1.0
SAME_SITE = 0.75

# Seasons. DD: indoors, highest in mid-January. SU and WL in the herd at grass: highest in mid-September.
DD_WINTER = 0.4
"""Half the log-odds between the highest and the lowest month; peak-to-trough odds ratio exp(0.8) = 2.2."""
HORN_AUTUMN = 0.6
LAME_AUTUMN = 0.45
AUTUMN_FARM = "Long Heath"

# Odds of writing a lesion down, by trimmer: TB's eye (or pencil) is sharper for these two.
TRIMMER_ODDS = {"TB": {"SH": 2.6, "HHE": 2.6}}

# Locomotion: log-odds of a lame score added by a lesion while it is sore, and by each grade above 1. A lesion
# found at a whole-herd visit began somewhere in the gap since the visit before, and is sore for as long as
# that gap: so the share lame neither jumps nor drops with the trimmer's calendar. One treated at a lame-cow
# call is sore SORE_FOR more days.
SORE = {"SU": 1.3, "WL": 1.0, "TU": 1.3, "BU": 1.0, "IP": 2.2, "DD": 0.35, "SW": 1.0}
SORE_A_GRADE = 0.5
SORE_FOR = 50
COW_GAIT_SPREAD = 0.6
STEPS = {2: -1.7, 3: 0.0, 4: 1.9, 5: 3.6}
"""Log-odds to be lost at each score: P(score >= k) = expit(lame - step)."""
RISING_FARM = "Osier End"
RISING_FROM = date(2025, 11, 1)
RISE = 1.2
"""Log-odds gained from RISING_FROM to the end: the share lame about doubles. Flat on the other farms."""

# Monthly chance of a lesion coming up between visits, as a share of its prevalence at visits.
ACUTE = {"SU": 0.06, "WL": 0.07, "DD": 0.025, "IP": 0.6, "TU": 0.1, "BU": 0.08, "SW": 0.1}
CALLED = 0.75
"""Chance that a cow with such a lesion is brought at the next lame-cow call."""
BLOCK_DAYS = 35
"""A block stays on five to six weeks [common practice, no source]."""
FORGOTTEN = 0.12
"""Share of blocks nobody came back for."""

# Leaving the herd: monthly chance, and the odds of it after a recent sole ulcer.
LEAVES = 0.026
LEAVES_A_LACTATION = 0.2
LEAVES_AFTER_ULCER = 1.6

# Horn. Gross growth about 5 cm a year (Kentucky) [pub]; it and wear are lower in autumn and winter
# (Tranter & Morris) [pub].
GROSS_GROWTH = {"winter": 3.6, "spring": 4.8, "summer": 4.6, "autumn": 3.7}
"""Millimetres a month; 50.1 mm a year."""
WORN_SHARE = {
    "freestall": 0.55,
    "freestall-rubber": 0.45,
    "tie-stall": 0.25,
    "bedded-pack": 0.22,
    "pasture": 0.60,
}
"""Share of the growth worn away again; the differences between housings are our scenario."""
CLAW_WEAR = {"lateral": 1.1, "medial": 0.9}
"""Lateral claws wear more than medial (Tranter & Morris) [pub]; the sizes are ours."""
COW_GROWTH_SPREAD = 0.1
MEASURING_ERROR = 1.0
LEFT_AT = (76.5, 0.8)
"""Dorsal wall as left, mm: mean and spread. 75 mm after trimming is the published mark (Kentucky)."""
SHED_CYCLE_MONTHS = 4.0


def net_growth(housing: str, floor: str, season: str, claw: str) -> float:
    """Toe growth less wear, millimetres a month.

    Example
    -------
    >>> round(net_growth("tie-stall", "rubber", "winter", "lateral"), 2)
    2.61
    >>> round(net_growth("freestall", "concrete", "winter", "lateral"), 2)
    1.42
    """
    worn = WORN_SHARE["freestall-rubber" if (housing, floor) == ("freestall", "rubber") else housing]
    return GROSS_GROWTH[season] * (1 - worn * CLAW_WEAR[claw])


def yearly_wave(on: date, peak_month: int) -> float:
    """Cosine over the year, 1 in the middle of the peak month, -1 half a year later."""
    return math.cos(2 * math.pi * (on.timetuple().tm_yday - (peak_month - 0.5) * 30.44) / 365.25)


@dataclass(frozen=True)
class BadRow:
    """A row of the messy notebook that cannot be right, and must be set aside rather than guessed at."""

    row: int
    """Row number as a person sees it in a spreadsheet, the title rows counted."""
    field: str
    value: str
    why: str


MESSY_FARM = "Dunlow Corner"
MESSY_BAD_ROWS = (
    BadRow(14, "locomotion_score", "7", "no locomotion scale goes to 7"),
    BadRow(27, "zone", "40", "zones run from 0 to 12"),
    BadRow(41, "toe_length_mm", "29,5", "a toe of 750 mm is a slip of the pen"),
    BadRow(58, "visit_date", "14/03/2062", "the day has not come yet"),
    BadRow(73, "claw", "inner", "a claw of no foot"),
    BadRow(88, "lesion", "squishy", "not a lesion anybody can look up"),
    BadRow(101, "lesion", "ulcer + wart", "two findings in one row"),
    BadRow(116, "cow", "", "no cow"),
)
