"""The fields of the seven kinds of sheet: their type, what they hold, and an example of each.

The headings they go by are data of the lexicon.
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
    what, example : str
        For people.
    required : bool
        A row without it is set aside; a sheet without it is not of this kind.
    telling : bool
        Its presence says that the sheet is of this kind.
    """

    name: str
    type: str
    what: str
    example: str
    required: bool = False
    telling: bool = False


_FARM = Field("farm", "farm", "Farm or herd", "Larkmoor", required=True)
_COW = Field(
    "cow",
    "cow",
    "The cow's number or name",
    "1043",
    required=True,
)
_NOTE = Field("note", "text", "Anything else", "walks well")
_BREED = Field("breed", "label", "Breed", "Holstein")
_SIRE = Field("sire", "label", "Her sire", "Bull 12")

TRIMS: tuple[Field, ...] = (
    Field("visit_date", "date", "Day of the visit", "2026-03-14", required=True),
    _FARM,
    Field("trimmer", "label", "Who trimmed", "J. Moss"),
    Field("visit_kind", "visit kind", "whole-herd, part-herd, lame-cow or recheck", "whole-herd", telling=True),
    Field("herd_size", "whole", "Cows in the milking herd that day", "180", telling=True),
    _COW,
    Field("group", "label", "Her group", "high"),
    Field("housing", "housing", "freestall, tie-stall, bedded-pack or pasture", "freestall"),
    Field("floor", "floor", "What she walks on", "concrete"),
    Field("bedding", "lower", "What she lies on", "sand"),
    Field("parity", "whole", "How many times she has calved", "2"),
    Field("calving_date", "date", "Her last calving before the visit", "2026-01-08"),
    _BREED,
    _SIRE,
    Field("feet_seen", "feet", "Feet looked at, when fewer than four", "LH RH", telling=True),
    Field("foot", "foot", "The foot", "LH", telling=True),
    Field("claw", "claw", "lateral or medial", "lateral", telling=True),
    Field("zone", "zone", "Zone of the foot, 0 to 12", "4", telling=True),
    Field("lesion", "lesion", "Lesion: a name or a code; blank if nothing was found", "SU", telling=True),
    Field("lesion_detail", "detail", "Subtype of the lesion", "WLA", telling=True),
    Field("severity", "severity", "1 mild, 2 moderate, 3 severe", "2", telling=True),
    Field("dd_stage", "dd stage", "Stage of digital dermatitis, M0 to M4.1", "M2", telling=True),
    Field("toe_length_mm", "length", "Dorsal wall as found", "84", telling=True),
    Field("toe_length_after_mm", "length", "Dorsal wall as left", "76", telling=True),
    Field("toe_angle_deg", "angle", "Angle of the toe", "48", telling=True),
    Field("heel_depth_mm", "length", "Depth of the heel", "40", telling=True),
    Field("sole_thickness_mm", "length", "Thickness of the sole", "6", telling=True),
    Field("shed_stage", "shed stage", "Natural shedding, 0 to 5", "2", telling=True),
    Field("toe_break_mm", "length", "How far a toe has broken beyond the ideal line", "8", telling=True),
    Field("action", "action", "trim, block, wrap, refer or other", "block", telling=True),
    Field("recheck_on", "date", "When to look again", "2026-04-11", telling=True),
    Field("locomotion_score", "score", "Locomotion score", "2"),
    Field("locomotion_scale", "scale", "1-5 or 0-3", "1-5"),
    _NOTE,
)

LOCOMOTION: tuple[Field, ...] = (
    Field("date", "date", "Day of scoring", "2026-03-14", required=True),
    _FARM,
    _COW,
    Field("score", "score", "The score", "2", required=True, telling=True),
    Field("scale", "scale", "1-5 or 0-3", "1-5"),
    Field("scorer", "label", "Who scored", "KV"),
    _NOTE,
    Field("group", "label", "Her group", "high"),
    Field("herd_size", "whole", "Cows in the milking herd that day", "180"),
)

REGISTER: tuple[Field, ...] = (
    _FARM,
    _COW,
    Field("birth_date", "date", "When she was born", "2021-05-02", telling=True),
    Field("calvings", "dates", "Every calving", "2023-06-01; 2024-07-04", telling=True),
    _BREED,
    _SIRE,
    Field("group_moves", "moves", "When she moved to which group", "2023-06-01 high; 2024-04-20 dry", telling=True),
    Field("entered_on", "date", "When she came into the herd", "2023-05-20", telling=True),
    Field("left_on", "date", "When she left", "2026-02-01", telling=True),
    _NOTE,
)

HOUSING: tuple[Field, ...] = (
    _FARM,
    Field("group", "label", "The group; blank means the whole farm", "high"),
    Field("starts_on", "date", "First day", "2025-11-01", required=True, telling=True),
    Field("ends_on", "date", "Last day; blank means still", "2026-04-15", telling=True),
    Field(
        "housing", "housing", "freestall, tie-stall, bedded-pack or pasture", "freestall", required=True, telling=True
    ),
    Field("floor", "floor", "What they walk on", "concrete"),
    Field("bedding", "lower", "What they lie on", "sand"),
    Field("pasture", "yes-no", "Whether they go out, yes or no", "no"),
    Field("wetness", "wetness", "How wet the ground stays", "always-wet"),
    _NOTE,
)

CHANGES: tuple[Field, ...] = (
    _FARM,
    Field("date", "date", "Day of the change", "2025-05-01", required=True),
    Field("what", "text", "What changed", "Rubber in the alleys", required=True, telling=True),
    _NOTE,
    Field("lesions", "lesions", "Lesions it aims at; blank means those its kind of change usually aims at", "SU WL"),
)

LIMITS: tuple[Field, ...] = (
    Field("farm", "farm", "Whose cows; blank means every farm's", "Larkmoor"),
    Field("breed", "label", "Cows of which breed; blank means all", "Jersey"),
    Field("parity_first", "whole", "From which lactation on; blank means all", "1"),
    Field("parity_last", "whole", "Up to which lactation", "2"),
    Field(
        "limit",
        "horn limit",
        "long_toe_mm, long_toe_angle_deg, thin_sole_mm or toe_break_mm",
        "long_toe_mm",
        required=True,
        telling=True,
    ),
    Field("value", "number", "What it is set to, in the unit of its name", "75", required=True),
    _NOTE,
)

COUNTS: tuple[Field, ...] = (
    Field("visit_date", "date", "Day of the visit", "2026-03-14", required=True),
    _FARM,
    Field("trimmer", "label", "Who trimmed", "J. Moss"),
    Field("herd_size", "whole", "Cows in the milking herd that day", "180"),
    Field("looked_at", "whole", "How many were looked at", "60"),
    Field("lesion", "counted lesion", "Lesion: a name or a code; blank means any lesion", "DD"),
    Field("cases", "whole", "How many of them had it", "9", required=True, telling=True),
    Field("unit", "unit", "cows, feet or claws; blank means cows", "cows"),
    _NOTE,
)

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


VOID_FINDING = "void finding"
"""What a column is, and is called, that marks single findings as ones that do not count."""
