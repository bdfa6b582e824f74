"""The fields of the seven kinds of sheet: the headings they go by, their unit, and an example of each.

A heading is compared without case, spaces, punctuation and underscores.
"""

from __future__ import annotations

from dataclasses import dataclass

UNITS: dict[str, float] = {"mm": 1.0, "cm": 10.0, "in": 25.4}
"""Units of length that a heading or a cell may name -> millimetres."""


@dataclass(frozen=True)
class Field:
    """One field of a kind of sheet.

    Attributes
    ----------
    name : str
        Column in the checked frame.
    type : str
        text, label (text whose spelling is made alike), cow, farm, date, dates, moves, lesions, whole, length (mm),
        angle (degrees), yes-no, or the name of a vocabulary (foot, lesion, ...).
    headings : tuple of str
        What the column may be called, beside its name.
    what, example : str
        For people.
    required : bool
        A row without it is set aside; a sheet without it is not of this kind.
    telling : bool
        Its presence says that the sheet is of this kind.
    """

    name: str
    type: str
    headings: tuple[str, ...]
    what: str
    example: str
    required: bool = False
    telling: bool = False


def _field(
    name: str, type: str, headings: str, what: str, example: str, *, required: bool = False, telling: bool = False
) -> Field:
    return Field(name, type, tuple(filter(None, headings.split("|"))), what, example, required, telling)


_FARM = _field(
    "farm", "farm",
           "farm name|herd|herd name|dairy|dairy name|client|customer|holding|premises|site|farm id|herd id",
    "Farm or herd", "Larkmoor", required=True,
)  # fmt: skip
_COW = _field(
    "cow", "cow",
           "cow no|cow number|cow id|animal|animal id|animal no|animal number|ear tag|eartag|tag|tag no|"
    "tag number|ear number|id|cow name|line number|freeze brand|collar|cow nr|number",
    "The cow's number or name", "1043", required=True,
)  # fmt: skip
_NOTE = _field("note", "text", "notes|remark|remarks|comment|comments|memo|observation", "Anything else", "walks well")
_DATE = "date of visit|visit|day|when|on|date"
_BREED = _field("breed", "label", "breed code|race", "Breed", "Holstein")
_SIRE = _field("sire", "label", "sire id|sire name|bull|father|sire code", "Her sire", "Bull 12")

TRIMS: tuple[Field, ...] = (
    _field("visit_date", "date",
           _DATE + "|trim date|trimming date|date trimmed|date of trim|session date|trimmed on",
           "Day of the visit", "2026-03-14", required=True),
    _FARM,
    _field("trimmer", "label", "hoof trimmer|claw trimmer|foot trimmer|trimmed by|operator|technician|who",
           "Who trimmed", "J. Moss"),
    _field("visit_kind", "visit kind",
           "visit type|kind of visit|type of visit|trim type|type|kind|visit reason|reason",
           "whole-herd, part-herd, lame-cow or recheck", "whole-herd", telling=True),
    _field("herd_size", "whole",
           "cows in herd|milking cows|cows milking|size of herd|number of cows|herd count|"
           "cows in milk", "Cows in the milking herd that day", "180", telling=True),
    _COW,
    _field("group", "label",
           "pen|pen no|pen number|pen name|lot|string|group name|milking group|management group",
           "Her group", "high"),
    _field("housing", "housing", "house|barn|barn type|housing type|housing system|system|housed",
           "freestall, tie-stall, bedded-pack or pasture", "freestall"),
    _field("floor", "floor", "flooring|floor type|walking surface|surface|alley floor",
           "What she walks on", "concrete"),
    _field("bedding", "lower", "bed|bedding type|bedding material|litter|lying surface",
           "What she lies on", "sand"),
    _field("parity", "whole",
           "lactation|lactation no|lactation number|lact|lact no|lactations|calvings|parity no|"
           "calf no|lac", "How many times she has calved", "2"),
    _field("calving_date", "date",
           "calved|calved on|last calving|last calving date|date calved|fresh date|freshened|"
           "date of calving|fresh", "Her last calving before the visit", "2026-01-08"),
    _BREED,
    _SIRE,
    _field("feet_seen", "feet",
           "feet|feet trimmed|feet looked at|feet checked|feet examined|feet done|legs done|"
           "feet inspected", "Feet looked at, when fewer than four", "LH RH", telling=True),
    _field("foot", "foot", "leg|limb|hoof|which foot|affected foot|foot affected|leg affected|hoof affected",
           "The foot", "LH", telling=True),
    _field("claw", "claw", "digit|toe|which claw|affected claw|claw affected|side of foot",
           "lateral or medial",
           "lateral", telling=True),
    _field("zone", "zone", "claw zone|foot zone|area|zone no|zone number|hoof zone|location zone",
           "Zone of the foot, 0 to 12",
           "4", telling=True),
    _field("lesion", "lesion",
           "lesion found|lesion code|finding|findings|diagnosis|disorder|problem|condition|"
           "lesion type|lesion name|lesions|claw lesion|disease|what was found|found|foot problem|issue|ailment",
           "Lesion: a name or a code; blank if nothing was found", "SU", telling=True),
    _field("lesion_detail", "detail",
           "detail|lesion subtype|subtype|sub type|lesion sub type|lesion details|form|"
           "lesion form", "Subtype of the lesion", "WLA", telling=True),
    _field("severity", "severity",
           "grade|degree|sev|severity score|lesion severity|severity grade|lesion grade|"
           "lesion score", "1 mild, 2 moderate, 3 severe", "2", telling=True),
    _field("dd_stage", "dd stage", "stage|m stage|dd m stage|dd score|m score|dd class|dermatitis stage",
           "Stage of digital dermatitis, M0 to M4.1", "M2", telling=True),
    _field("toe_length_mm", "length",
           "toe length|toe|dorsal wall|dorsal wall length|wall length|toe length before|"
           "length|toe length found|claw length|toe length as found", "Dorsal wall as found", "84",
           telling=True),
    _field("toe_length_after_mm", "length",
           "toe length after|length after|toe after|dorsal wall after|toe length left|"
           "toe length trimmed|toe length as left|toe length after trim|toe length after trimming",
           "Dorsal wall as left", "76", telling=True),
    _field("toe_angle_deg", "angle", "toe angle|angle|claw angle|dorsal angle|wall angle|hoof angle",
           "Angle of the toe", "48",
           telling=True),
    _field("heel_depth_mm", "length", "heel depth|heel height|heel", "Depth of the heel", "40", telling=True),
    _field("sole_thickness_mm", "length", "sole thickness|sole|sole depth", "Thickness of the sole", "6",
           telling=True),
    _field("shed_stage", "shed stage", "shedding stage|shedding|shed|horn shedding",
           "Natural shedding, 0 to 5", "2", telling=True),
    _field("toe_break_mm", "length", "toe break|broken toe|toe broken|break",
           "How far a toe has broken beyond the ideal line",
           "8", telling=True),
    _field("action", "action", "action taken|what was done|done|measure|work done|job|actions|work",
           "trim, block, wrap, refer or other", "block", telling=True),
    _field("recheck_on", "date",
           "recheck|recheck date|next check|check on|check again|due|due date|follow up|"
           "follow up date|next visit|revisit|see again|see again on", "When to look again", "2026-04-11",
           telling=True),
    _field("locomotion_score", "score", "loco score|locomotion|loco|mobility|mobility score|gait score|gait|"
           "lameness score|lameness|ls|locomotion score 1 5|score", "Locomotion score", "2"),
    _field("locomotion_scale", "scale", "loco scale|scale|score scale|mobility scale|scoring scale",
           "1-5 or 0-3", "1-5"),
    _NOTE,
)  # fmt: skip

LOCOMOTION: tuple[Field, ...] = (
    _field("date", "date",
           _DATE + "|scored on|score date|scoring date|date scored|visit date|date of scoring",
           "Day of scoring", "2026-03-14", required=True),
    _FARM,
    _COW,
    _field("score", "score",
           "loco score|locomotion|locomotion score|loco|mobility|mobility score|gait score|gait|"
           "lameness score|lameness|ls", "The score", "2", required=True, telling=True),
    _field("scale", "scale", "locomotion scale|loco scale|score scale|mobility scale|scoring scale",
           "1-5 or 0-3", "1-5"),
    _field("scorer", "label", "scored by|observer|assessor|who|by|operator", "Who scored", "KV"),
    _NOTE,
)  # fmt: skip

REGISTER: tuple[Field, ...] = (
    _FARM,
    _COW,
    _field("birth_date", "date", "born|born on|dob|date of birth|birthdate|birth", "When she was born",
           "2021-05-02",
           telling=True),
    _field("calvings", "dates",
           "calving dates|calving|calved|calved on|dates calved|all calvings|calving date",
           "Every calving", "2023-06-01; 2024-07-04", telling=True),
    _BREED,
    _SIRE,
    _field("group_moves", "moves", "groups|moves|group changes|pen moves|moved",
           "When she moved to which group",
           "2023-06-01 high; 2024-04-20 dry", telling=True),
    _field("entered_on", "date",
           "entered|entry|entry date|joined|bought|arrived|date in|in date|came in|entered herd",
           "When she came into the herd", "2023-05-20", telling=True),
    _field("left_on", "date",
           "left|exit|exit date|sold|culled|cull date|date out|out date|died|departed|left herd|"
           "went out", "When she left", "2026-02-01", telling=True),
    _NOTE,
)  # fmt: skip

HOUSING: tuple[Field, ...] = (
    _FARM,
    _field("group", "label", "pen|pen name|lot|string|group name|cows|milking group|animals",
           "The group; blank means the whole farm", "high"),
    _field("starts_on", "date", "from|start|starts|start date|date from|since|begin|begins|from date|in from",
           "First day", "2025-11-01", required=True, telling=True),
    _field("ends_on", "date", "to|until|end|ends|end date|date to|till|to date|up to",
           "Last day; blank means still", "2026-04-15", telling=True),
    _field("housing", "housing", "house|barn|barn type|housing type|housing system|system|where|kept",
           "freestall, tie-stall, bedded-pack or pasture", "freestall", required=True, telling=True),
    _field("floor", "floor", "flooring|floor type|walking surface|surface|alley floor",
           "What they walk on", "concrete"),
    _field("bedding", "lower", "bed|bedding type|bedding material|litter|lying surface",
           "What they lie on", "sand"),
    _field("pasture", "yes-no",
           "grazing|on grass|grass|at grass|turned out|goes out|access to pasture|pasture access",
           "Whether they go out, yes or no", "no"),
    _field("wetness", "wetness", "wet|how wet|moisture|ground|wet or dry|footing", "How wet the ground stays",
           "always-wet"),
    _NOTE,
)  # fmt: skip

CHANGES: tuple[Field, ...] = (
    _FARM,
    _field("date", "date", _DATE + "|change date|date of change|changed on|from|since|started|start",
           "Day of the change",
           "2025-05-01", required=True),
    _field("what", "text", "change|what changed|changed|event|action|description|measure|what happened",
           "What changed",
           "Rubber in the alleys", required=True, telling=True),
    _NOTE,
    _field("lesions", "lesions", "lesion|aims at|aimed at|aim|target|targets|against|lesions aimed at",
           "Lesions it aims at; blank means those its kind of change usually aims at", "SU WL"),
)  # fmt: skip

LIMITS: tuple[Field, ...] = (
    _field("farm", "farm", "|".join(_FARM.headings), "Whose cows; blank means every farm's", "Larkmoor"),
    _field("breed", "label", "breed code|race", "Cows of which breed; blank means all", "Jersey"),
    _field("parity_first", "whole", "first lactation|lactation from|from lactation|parity from",
           "From which lactation on; blank means all", "1"),
    _field("parity_last", "whole", "last lactation|lactation to|to lactation|parity to",
           "Up to which lactation", "2"),
    _field("limit", "horn limit", "horn limit|which limit",
           "long_toe_mm, long_toe_angle_deg, thin_sole_mm or toe_break_mm", "long_toe_mm", required=True, telling=True),
    _field("value", "number", "limit value|set to|amount", "What it is set to, in the unit of its name", "75",
           required=True),
    _NOTE,
)  # fmt: skip

COUNTS: tuple[Field, ...] = (
    _field("visit_date", "date",
           _DATE + "|trim date|trimming date|date trimmed|date of trim|session date|trimmed on",
           "Day of the visit", "2026-03-14", required=True),
    _FARM,
    _field("trimmer", "label", "hoof trimmer|claw trimmer|foot trimmer|trimmed by|operator|technician|who",
           "Who trimmed", "J. Moss"),
    _field("herd_size", "whole", "cows in herd|milking cows|cows milking|size of herd|number of cows|herd count|"
           "cows in milk", "Cows in the milking herd that day", "180"),
    _field("looked_at", "whole", "cows looked at|cows trimmed|number trimmed|trimmed|cows examined|examined|cows seen",
           "How many were looked at", "60"),
    _field("lesion", "counted lesion", "lesion code|finding|diagnosis|disorder|lesion type|lesion name|disease",
           "Lesion: a name or a code; blank means any lesion", "DD"),
    _field("cases", "whole", "number of cases|cows with it|cows affected|affected cows|number affected",
           "How many of them had it", "9", required=True, telling=True),
    _field("unit", "unit", "counted|what is counted", "cows, feet or claws; blank means cows", "cows"),
    _NOTE,
)  # fmt: skip

KINDS: dict[str, tuple[Field, ...]] = {
    "trims": TRIMS,
    "locomotion": LOCOMOTION,
    "register": REGISTER,
    "housing": HOUSING,
    "changes": CHANGES,
    "limits": LIMITS,
    "counts": COUNTS,
}
KIND_NAMES: dict[str, str] = {
    "trims": "trim sheet",
    "locomotion": "locomotion sheet",
    "register": "herd register",
    "housing": "housing sheet",
    "changes": "list of changes",
    "limits": "list of horn limits",
    "counts": "sheet of counts without cows",
}

OWN_COLUMNS: tuple[str, ...] = ("evenfoot_row", "evenfoot_problem", "evenfoot_remedy")
"""Columns that the list of set-aside rows adds; ignored when the mended list is read again."""

_DTYPES = {
    "date": "datetime64[us]",
    "whole": "Int64",
    "zone": "Int64",
    "severity": "Int64",
    "shed stage": "Int64",
    "score": "Int64",
    "length": "float64",
    "angle": "float64",
    "number": "float64",
    "yes-no": "boolean",
}


def dtype_of(field: Field) -> str:
    """The pandas dtype of a field in the checked frame.

    Example
    -------
    >>> dtype_of(TRIMS[0]), dtype_of(field_of("trims", "zone"))
    ('datetime64[us]', 'Int64')
    """
    return _DTYPES.get(field.type, "str")


def field_of(kind: str, name: str) -> Field:
    """The field of that name.

    Raises
    ------
    KeyError
        The kind of sheet has no such field.
    """
    for field in KINDS[kind]:
        if field.name == name:
            return field
    raise KeyError(name)
