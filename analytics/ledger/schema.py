"""The tables of the ledger.

Two sorts. *Row tables* hold what the sheets said, one row a sheet row, each stamped with its import.
*Derived tables* hold the same resolved for counting (one row a trim, a finding, a scoring, a horn
reading); they are rebuilt for the farms an import touches, inside the same transaction, and can always
be rebuilt from the row tables.
"""

from __future__ import annotations

SCHEMA_VERSION = 13
"""The layout this program makes; ``migrations.py`` leads older ones to it."""

TRIM_FIELDS: dict[str, str] = {
    "visit_date": "DATE",
    "farm": "VARCHAR",
    "trimmer": "VARCHAR",
    "visit_kind": "VARCHAR",
    "herd_size": "INTEGER",
    "cow": "VARCHAR",
    "group": "VARCHAR",
    "housing": "VARCHAR",
    "floor": "VARCHAR",
    "bedding": "VARCHAR",
    "parity": "INTEGER",
    "calving_date": "DATE",
    "breed": "VARCHAR",
    "sire": "VARCHAR",
    "feet_seen": "VARCHAR",
    "foot": "VARCHAR",
    "claw": "VARCHAR",
    "zone": "INTEGER",
    "lesion": "VARCHAR",
    "lesion_detail": "VARCHAR",
    "severity": "INTEGER",
    "dd_stage": "VARCHAR",
    "toe_length_mm": "DOUBLE",
    "toe_length_after_mm": "DOUBLE",
    "toe_angle_deg": "DOUBLE",
    "heel_depth_mm": "DOUBLE",
    "sole_thickness_mm": "DOUBLE",
    "shed_stage": "INTEGER",
    "toe_break_mm": "DOUBLE",
    "action": "VARCHAR",
    "recheck_on": "DATE",
    "locomotion_score": "INTEGER",
    "locomotion_scale": "VARCHAR",
    "note": "VARCHAR",
}
LOCOMOTION_FIELDS: dict[str, str] = {
    "date": "DATE",
    "farm": "VARCHAR",
    "cow": "VARCHAR",
    "score": "INTEGER",
    "scale": "VARCHAR",
    "scorer": "VARCHAR",
    "note": "VARCHAR",
    "group": "VARCHAR",
    "herd_size": "INTEGER",
}
REGISTER_FIELDS: dict[str, str] = {
    "farm": "VARCHAR",
    "cow": "VARCHAR",
    "birth_date": "DATE",
    "calvings": "VARCHAR",
    "breed": "VARCHAR",
    "sire": "VARCHAR",
    "group_moves": "VARCHAR",
    "entered_on": "DATE",
    "left_on": "DATE",
    "note": "VARCHAR",
}
HOUSING_FIELDS: dict[str, str] = {
    "farm": "VARCHAR",
    "group": "VARCHAR",
    "starts_on": "DATE",
    "ends_on": "DATE",
    "housing": "VARCHAR",
    "floor": "VARCHAR",
    "bedding": "VARCHAR",
    "pasture": "BOOLEAN",
    "wetness": "VARCHAR",
    "note": "VARCHAR",
}
CHANGE_FIELDS: dict[str, str] = {
    "farm": "VARCHAR",
    "date": "DATE",
    "what": "VARCHAR",
    "note": "VARCHAR",
    "lesions": "VARCHAR",
}
LIMIT_FIELDS: dict[str, str] = {
    "farm": "VARCHAR",
    "breed": "VARCHAR",
    "parity_first": "INTEGER",
    "parity_last": "INTEGER",
    "limit": "VARCHAR",
    "value": "DOUBLE",
    "note": "VARCHAR",
}
COUNT_FIELDS: dict[str, str] = {
    "visit_date": "DATE",
    "farm": "VARCHAR",
    "trimmer": "VARCHAR",
    "herd_size": "INTEGER",
    "looked_at": "INTEGER",
    "lesion": "VARCHAR",
    "cases": "INTEGER",
    "unit": "VARCHAR",
    "note": "VARCHAR",
}
"""Counts of a visit whose cows are not told apart: so many looked at, so many with a lesion."""

ROW_TABLES: dict[str, tuple[str, dict[str, str]]] = {
    "trims": ("trim_rows", TRIM_FIELDS),
    "locomotion": ("score_rows", LOCOMOTION_FIELDS),
    "register": ("register_rows", REGISTER_FIELDS),
    "housing": ("housing_rows", HOUSING_FIELDS),
    "changes": ("change_rows", CHANGE_FIELDS),
    "limits": ("limit_rows", LIMIT_FIELDS),
    "counts": ("summary_rows", COUNT_FIELDS),
}
"""Kind of sheet -> (row table, its fields)."""

ATTRIBUTES: dict[str, str] = {
    "group": "VARCHAR",
    "housing": "VARCHAR",
    "floor": "VARCHAR",
    "bedding": "VARCHAR",
    "wetness": "VARCHAR",
    "parity": "INTEGER",
    "calving_date": "DATE",
    "breed": "VARCHAR",
    "sire": "VARCHAR",
    "trimmer": "VARCHAR",
    "visit_kind": "VARCHAR",
    "kind_from": "VARCHAR",
}
"""What is known of a cow on a day, carried by every derived row so that counting needs no join.
``kind_from`` says how the visit kind is known: stated, derived (from the share of the herd looked at), contradicted
(stated as whole-herd, but too few of the herd were looked at), unlisted (a cow that the sheet does not list, counted as
looked at and sound because it says that the rest was) or unknown."""

DERIVED_TABLES: dict[str, dict[str, str]] = {
    "trims": {
        "farm": "VARCHAR",
        "visit_date": "DATE",
        "cow": "VARCHAR",
        **ATTRIBUTES,
        "herd_size": "INTEGER",
        "seen_lf": "INTEGER",
        "seen_rf": "INTEGER",
        "seen_lh": "INTEGER",
        "seen_rh": "INTEGER",
    },
    "findings": {
        "farm": "VARCHAR",
        "visit_date": "DATE",
        "cow": "VARCHAR",
        **ATTRIBUTES,
        "foot": "VARCHAR",
        "limb": "VARCHAR",
        "claw": "VARCHAR",
        "zone": "INTEGER",
        "lesion": "VARCHAR",
        "lesion_detail": "VARCHAR",
        "family": "VARCHAR",
        "severity": "INTEGER",
        "dd_stage": "VARCHAR",
        "action": "VARCHAR",
        "recheck_on": "DATE",
    },
    "scores": {
        "farm": "VARCHAR",
        "visit_date": "DATE",
        "cow": "VARCHAR",
        **ATTRIBUTES,
        "scorer": "VARCHAR",
        "score": "INTEGER",
        "scale": "VARCHAR",
        "lame": "INTEGER",
        "severe": "INTEGER",
    },
    "horn_readings": {
        "farm": "VARCHAR",
        "visit_date": "DATE",
        "cow": "VARCHAR",
        **ATTRIBUTES,
        "foot": "VARCHAR",
        "limb": "VARCHAR",
        "claw": "VARCHAR",
        "toe_length_mm": "DOUBLE",
        "toe_length_after_mm": "DOUBLE",
        "toe_angle_deg": "DOUBLE",
        "heel_depth_mm": "DOUBLE",
        "sole_thickness_mm": "DOUBLE",
        "shed_stage": "INTEGER",
        "toe_break_mm": "DOUBLE",
        "zone": "INTEGER",
        "action": "VARCHAR",
        "recheck_on": "DATE",
        "lame": "INTEGER",
    },
    "cows": {
        "farm": "VARCHAR",
        "cow": "VARCHAR",
        "birth_date": "DATE",
        "breed": "VARCHAR",
        "sire": "VARCHAR",
        "entered_on": "DATE",
        "left_on": "DATE",
        "registered": "BOOLEAN",
        "number": "VARCHAR",
        "since": "DATE",
        "until": "DATE",
    },
    "calvings": {"farm": "VARCHAR", "cow": "VARCHAR", "calved_on": "DATE"},
    "moves": {"farm": "VARCHAR", "cow": "VARCHAR", "moved_on": "DATE", "group": "VARCHAR"},
}

BOOKKEEPING: dict[str, dict[str, str]] = {
    "meta": {"name": "VARCHAR", "value": "VARCHAR"},
    "imports": {
        "import_no": "INTEGER",
        "imported_at": "TIMESTAMP",
        "file": "VARCHAR",
        "sha256": "VARCHAR",
        "kinds": "VARCHAR",
        "rows_read": "BIGINT",
        "added": "BIGINT",
        "already_known": "BIGINT",
        "set_aside": "BIGINT",
        "undone_at": "TIMESTAMP",
        "notes": "VARCHAR",
    },
    "set_aside": {
        "import_no": "INTEGER",
        "source": "VARCHAR",
        "row_no": "BIGINT",
        "column": "VARCHAR",
        "value": "VARCHAR",
        "reason": "VARCHAR",
        "remedy": "VARCHAR",
        "original": "VARCHAR",
    },
    "horn_limits": {
        "limit_no": "INTEGER",
        "farm": "VARCHAR",
        "breed": "VARCHAR",
        "parity_first": "INTEGER",
        "parity_last": "INTEGER",
        "name": "VARCHAR",
        "value": "DOUBLE",
        "set_at": "TIMESTAMP",
    },
    "agreements": {
        "agreement_no": "INTEGER",
        "farm": "VARCHAR",
        "agreed_on": "DATE",
        "text": "VARCHAR",
        "who": "VARCHAR",
        "due_on": "DATE",
        "lesion": "VARCHAR",
        "place": "VARCHAR",
        "done_on": "DATE",
        "outcome": "VARCHAR",
        "added_at": "TIMESTAMP",
        "removed_at": "TIMESTAMP",
    },
    "sheet_photos": {
        "import_no": "INTEGER",
        "photo_no": "INTEGER",
        "part_no": "INTEGER",
        "farm": "VARCHAR",
        "kind": "VARCHAR",
        "sha256": "VARCHAR",
        "added_at": "TIMESTAMP",
        "content": "VARCHAR",
    },
    "seen_again": {"import_no": "INTEGER", "kind": "VARCHAR", "row_key": "VARCHAR"},
    "replaced_rows": {
        "import_no": "INTEGER",
        "kind": "VARCHAR",
        "farm": "VARCHAR",
        "row_key": "VARCHAR",
        "of_import": "INTEGER",
        "row_no": "BIGINT",
        "new_key": "VARCHAR",
        "content": "VARCHAR",
    },
    "aliases": {
        "kind": "VARCHAR",
        "farm": "VARCHAR",
        "said": "VARCHAR",
        "means": "VARCHAR",
        "created_at": "TIMESTAMP",
        "taken_back_at": "TIMESTAMP",
    },
    "layouts": {
        "layout_no": "INTEGER",
        "name": "VARCHAR",
        "headings": "VARCHAR",
        "signature": "VARCHAR",
        "trimmer": "VARCHAR",
        "answers": "VARCHAR",
        "created_at": "TIMESTAMP",
        "used_at": "TIMESTAMP",
    },
    "history": {
        "history_no": "BIGINT",
        "noted_at": "TIMESTAMP",
        "who": "VARCHAR",
        "what": "VARCHAR",
        "subject": "VARCHAR",
        "farm": "VARCHAR",
        "before": "VARCHAR",
        "after": "VARCHAR",
    },
    "exports": {
        "exported_at": "TIMESTAMP",
        "farm": "VARCHAR",
        "half_year": "VARCHAR",
        "visit_kind": "VARCHAR",
        "housing": "VARCHAR",
        "lactation": "VARCHAR",
        "cows": "VARCHAR",
    },
}

FARM_BOOKKEEPING = ("horn_limits", "agreements", "sheet_photos", "history", "replaced_rows", "aliases", "exports")
"""Tables of bookkeeping with a column ``farm``: its lines go when the farm is erased.

``replaced_rows`` keeps each row that another took the place of: the import that did it, the row's own import, number
and key, the key of the row that stands there now, and its fields as a JSON object. ``aliases`` says what a name in
sheets stands for; its farm is the one meant, or the one whose cow is meant. ``layouts`` keeps the answers that were
given for a layout of sheets. ``agreements`` are what farmer, trimmer and veterinarian agreed on: what is removed keeps
its row, with the moment it was removed. ``sheet_photos`` are photos of filled sheets, in parts of base64, see
:mod:`evenfoot.analytics.ledger.photos`. ``exports`` remembers what anonymous exports gave away, one line a group of
cows that looked alike: ``cows`` has a digest of each one's row. ``meta`` has the ledger's layout, its id, and a sum of
the rows of each table, see :mod:`evenfoot.analytics.ledger.checksums`.
"""

LARGE_ROWS = {"sheet_photos": 500}
"""Tables whose rows hold tens of thousands of letters -> how many of them are under way at a time."""

STAMP: dict[str, str] = {"import_no": "INTEGER", "row_no": "BIGINT", "row_key": "VARCHAR"}
"""Columns in front of every row table's fields: which import, which row of the file, and the digest of
the row's content by which a row met again is known."""


def every_table() -> dict[str, dict[str, str]]:
    """Table -> column -> kind of all that a ledger consists of."""
    tables = {table: {**STAMP, **fields} for table, fields in ROW_TABLES.values()}
    return tables | DERIVED_TABLES | BOOKKEEPING


def create_statements() -> list[str]:
    """``CREATE TABLE`` statements of the whole ledger, in standard SQL."""
    return [create_statement(table, columns) for table, columns in every_table().items()]


def create_statement(table: str, columns: dict[str, str]) -> str:
    """The ``CREATE TABLE`` statement of one table."""
    inner = ", ".join(f'"{column}" {kind}' for column, kind in columns.items())
    return f"CREATE TABLE IF NOT EXISTS {table} ({inner})"


def key_of(fields: dict[str, str]) -> str:
    """SQL of the digest by which a row met again is known: all of its content, nothing of its place."""
    parts = ", ".join(f"COALESCE(CAST(\"{name}\" AS VARCHAR), '')" for name in fields)
    return f"MD5(CONCAT_WS(CHR(31), {parts}))"


def half_as_number(key: str) -> str:
    """SQL of the lower half of a digest's own digest, as a number: the engine's MD5_NUMBER_LOWER, worked out in a
    fifth of its time."""
    return f"CAST(MD5_NUMBER({key}) >> 64 AS UBIGINT)"
