"""Resolve what the sheets said into rows that can be counted, for the farms that changed.

A cow's attributes on a day (group, housing, parity, ...) come from the trim sheet where it says so, else
from the register and the housing periods. Visits without a stated kind get one from the share of the
herd that was trimmed. Everything here is SQL that runs inside the engine; nothing comes back.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice
from typing import Any, Protocol

from analytics.ledger.schema import ATTRIBUTES, DERIVED_TABLES, ROW_TABLES, create_statement
from analytics.trade import lesions, locomotion, visits

VISIT_GAP_DAYS = 3
"""Trim days of one farm no further apart than this are one visit when the share of the herd trimmed is
worked out: a large herd takes several days. [common practice, no source]"""


def rebuild(execute: _Execute, farms: Iterable[str]) -> None:
    """Rebuild the derived rows of *farms* (inside the caller's transaction).

    Parameters
    ----------
    execute : callable
        Takes one SQL statement, with optional positional parameters.
    farms : iterable of str
    """
    execute("CREATE OR REPLACE TEMP TABLE touched (farm VARCHAR)")
    names = iter(sorted(set(farms)))
    while some := list(islice(names, 500)):
        execute(f"INSERT INTO touched VALUES {', '.join(['(?)'] * len(some))}", list(some))
    for table in DERIVED_TABLES:
        execute(f"DELETE FROM {table} WHERE farm IN (SELECT farm FROM touched)")
    for statement in (_CALVINGS, _MOVES, _REGISTERED, _SAID, _visit_kinds(), _COW_DAYS):
        execute(statement)
    execute(_TRIMS)
    execute(_findings())
    execute(_scores())
    execute(_HORN)
    execute(_COWS)
    for table in ("touched", "registered", "said", "visit_kinds", "cow_days"):
        execute(f"DROP TABLE {table}")


def derive_anew(connection: Any) -> None:
    """Make every derived table anew from the row tables, inside the caller's transaction."""
    for table, columns in DERIVED_TABLES.items():
        connection.execute(f"DROP TABLE IF EXISTS {table}")
        connection.execute(create_statement(table, columns))
    farms = " UNION ".join(f"SELECT farm FROM {table}" for table, _ in ROW_TABLES.values())

    def execute(sql: str, parameters: list[object] | None = None) -> object:
        return connection.execute(sql, parameters or [])

    rebuild(execute, [farm for (farm,) in connection.execute(farms).fetchall()])


class _Execute(Protocol):
    """The shape of the callable that :func:`rebuild` is given."""

    def __call__(self, sql: str, parameters: list[object] | None = None) -> object: ...


_CALVINGS = """
INSERT INTO calvings
SELECT DISTINCT farm, cow, CAST(TRIM(piece) AS DATE)
FROM (SELECT farm, cow, UNNEST(STRING_SPLIT(calvings, ';')) AS piece FROM register_rows
      WHERE calvings IS NOT NULL AND farm IN (SELECT farm FROM touched)) AS pieces
WHERE TRIM(piece) <> ''
UNION
SELECT DISTINCT farm, cow, calving_date FROM trim_rows
WHERE calving_date IS NOT NULL AND farm IN (SELECT farm FROM touched)
"""

_MOVES = """
INSERT INTO moves
SELECT DISTINCT farm, cow, CAST(SUBSTRING(TRIM(piece), 1, 10) AS DATE), TRIM(SUBSTRING(TRIM(piece), 11))
FROM (SELECT farm, cow, UNNEST(STRING_SPLIT(group_moves, ';')) AS piece FROM register_rows
      WHERE group_moves IS NOT NULL AND farm IN (SELECT farm FROM touched)) AS pieces
WHERE TRIM(piece) <> ''
"""


def _latest(column: str) -> str:
    """The newest value of a register column that is not blank."""
    return (
        f"FIRST_VALUE({column}) OVER (PARTITION BY farm, cow "
        f"ORDER BY CASE WHEN {column} IS NULL THEN 1 ELSE 0 END, import_no DESC, row_no DESC) AS {column}"
    )


_REGISTERED = f"""
CREATE TEMP TABLE registered AS
SELECT DISTINCT farm, cow, {", ".join(_latest(c) for c in ("birth_date", "breed", "sire", "entered_on", "left_on"))}
FROM register_rows WHERE farm IN (SELECT farm FROM touched)
"""

# One row a cow and trim day, as the trim sheet had it. A foot counts as looked at when the sheet does not
# limit the feet, when it names that foot, or when something was found on it.
_SAID = (
    """
CREATE TEMP TABLE said AS
SELECT farm, cow, visit_date,
  MAX(trimmer) AS trimmer, MAX(visit_kind) AS visit_kind, MAX(herd_size) AS herd_size,
  MAX("group") AS "group", MAX(housing) AS housing, MAX(floor) AS floor, MAX(bedding) AS bedding,
  MAX(parity) AS parity, MAX(calving_date) AS calving_date, MAX(breed) AS breed, MAX(sire) AS sire,
"""
    + ",\n".join(
        f"  GREATEST(COALESCE(MAX(CASE WHEN feet_seen IS NULL THEN NULL WHEN feet_seen LIKE '%{foot}%' "
        f"THEN 1 ELSE 0 END), 1), MAX(CASE WHEN foot = '{foot}' THEN 1 ELSE 0 END)) AS seen_{foot.lower()}"
        for foot in ("LF", "RF", "LH", "RH")
    )
    + """
FROM trim_rows WHERE farm IN (SELECT farm FROM touched)
GROUP BY farm, cow, visit_date
"""
)


def _visit_kinds() -> str:
    """Kinds of the visits whose sheet does not say: from the share of the herd trimmed in one run of days."""
    return f"""
CREATE TEMP TABLE visit_kinds AS
WITH unsaid AS (SELECT farm, visit_date, cow, herd_size FROM said WHERE visit_kind IS NULL),
days AS (SELECT DISTINCT farm, visit_date FROM unsaid),
gaps AS (SELECT farm, visit_date,
           CASE WHEN visit_date - LAG(visit_date) OVER (PARTITION BY farm ORDER BY visit_date)
                     <= {VISIT_GAP_DAYS} THEN 0 ELSE 1 END AS starts FROM days),
runs AS (SELECT farm, visit_date,
           SUM(starts) OVER (PARTITION BY farm ORDER BY visit_date) AS run FROM gaps),
shares AS (SELECT runs.farm, run, COUNT(DISTINCT cow) AS cows, MAX(herd_size) AS herd_size
           FROM unsaid JOIN runs ON unsaid.farm = runs.farm AND unsaid.visit_date = runs.visit_date
           GROUP BY runs.farm, run)
SELECT runs.farm, runs.visit_date,
  CASE WHEN herd_size IS NULL THEN 'unknown'
       WHEN cows >= {visits.WHOLE_HERD_SHARE} * herd_size THEN 'whole-herd' ELSE 'part-herd' END AS visit_kind,
  CASE WHEN herd_size IS NULL THEN 'unknown' ELSE 'derived' END AS kind_from
FROM runs JOIN shares ON runs.farm = shares.farm AND runs.run = shares.run
"""


_OF_SHEET = (
    "group", "housing", "floor", "bedding", "parity", "calving_date", "breed", "sire", "trimmer", "visit_kind",
    "herd_size", "seen_lf", "seen_rf", "seen_lh", "seen_rh",
)  # fmt: skip
"""What the trim sheet says of a cow and day, which a day of scoring alone leaves open."""

_SAYS = ", ".join(f'"{name}"' for name in _OF_SHEET)
_SAYS_NOTHING = ", ".join(f"CAST(NULL AS {DERIVED_TABLES['trims'][name]})" for name in _OF_SHEET)

_COW_DAYS = f"""
CREATE TEMP TABLE cow_days AS
WITH days AS (
  SELECT farm, cow, visit_date, 1 AS trimmed, {_SAYS} FROM said
  UNION ALL
  SELECT farm, cow, date, 0, {_SAYS_NOTHING} FROM (
    SELECT DISTINCT farm, cow, date FROM score_rows WHERE farm IN (SELECT farm FROM touched)) AS scored
  WHERE NOT EXISTS (SELECT 1 FROM said
    WHERE said.farm = scored.farm AND said.cow = scored.cow AND said.visit_date = scored.date)),
grouped AS (
  SELECT farm, cow, visit_date, "group" FROM (
    SELECT days.farm, days.cow, days.visit_date, moves."group",
      ROW_NUMBER() OVER (PARTITION BY days.farm, days.cow, days.visit_date
                         ORDER BY moved_on DESC, moves."group") AS place
    FROM days JOIN moves ON days.farm = moves.farm AND days.cow = moves.cow AND moved_on <= visit_date) AS past
  WHERE place = 1),
calved AS (
  SELECT days.farm, days.cow, days.visit_date, COUNT(*) AS parity, MAX(calved_on) AS calving_date
  FROM days JOIN calvings ON days.farm = calvings.farm AND days.cow = calvings.cow AND calved_on <= visit_date
  WHERE EXISTS (SELECT 1 FROM registered r WHERE r.farm = days.farm AND r.cow = days.cow)
  GROUP BY days.farm, days.cow, days.visit_date),
bred AS (SELECT farm, cow, MAX(breed) AS breed, MAX(sire) AS sire FROM said GROUP BY farm, cow),
known AS (
  SELECT days.farm, days.cow, days.visit_date, days.trimmed,
    COALESCE(days."group", grouped."group") AS "group", days.housing, days.floor, days.bedding,
    COALESCE(days.parity, calved.parity) AS parity,
    COALESCE(days.calving_date, calved.calving_date) AS calving_date,
    COALESCE(days.breed, registered.breed, bred.breed) AS breed,
    COALESCE(days.sire, registered.sire, bred.sire) AS sire,
    days.trimmer, days.visit_kind, days.herd_size, days.seen_lf, days.seen_rf, days.seen_lh, days.seen_rh
  FROM days
  LEFT JOIN grouped ON days.farm = grouped.farm AND days.cow = grouped.cow
    AND days.visit_date = grouped.visit_date
  LEFT JOIN calved ON days.farm = calved.farm AND days.cow = calved.cow AND days.visit_date = calved.visit_date
  LEFT JOIN registered ON days.farm = registered.farm AND days.cow = registered.cow
  LEFT JOIN bred ON days.farm = bred.farm AND days.cow = bred.cow),
housed AS (
  SELECT * FROM (
    SELECT known.farm, known.visit_date, known."group" AS of_group,
      p.housing, p.floor, p.bedding, p.wetness,
      ROW_NUMBER() OVER (PARTITION BY known.farm, known.visit_date, known."group"
        ORDER BY CASE WHEN p."group" IS NULL THEN 1 ELSE 0 END, p.starts_on DESC, p.import_no DESC,
                 p.row_no DESC) AS place
    FROM (SELECT DISTINCT farm, visit_date, "group" FROM known) AS known
    JOIN housing_rows p ON p.farm = known.farm AND (p."group" IS NULL OR p."group" = known."group")
      AND p.starts_on <= known.visit_date AND (p.ends_on IS NULL OR p.ends_on >= known.visit_date)) AS ranked
  WHERE place = 1)
SELECT known.farm, known.cow, known.visit_date, known."group",
  COALESCE(known.housing, housed.housing) AS housing, COALESCE(known.floor, housed.floor) AS floor,
  COALESCE(known.bedding, housed.bedding) AS bedding, housed.wetness,
  known.parity, known.calving_date, known.breed, known.sire, known.trimmer, known.trimmed,
  COALESCE(known.visit_kind, visit_kinds.visit_kind) AS visit_kind,
  CASE WHEN known.visit_kind IS NOT NULL THEN 'stated' ELSE visit_kinds.kind_from END AS kind_from,
  known.herd_size, known.seen_lf, known.seen_rf, known.seen_lh, known.seen_rh
FROM known
LEFT JOIN visit_kinds ON known.trimmed = 1 AND visit_kinds.farm = known.farm
  AND visit_kinds.visit_date = known.visit_date
LEFT JOIN housed ON housed.farm = known.farm AND housed.visit_date = known.visit_date
  AND (housed.of_group = known."group" OR (housed.of_group IS NULL AND known."group" IS NULL))
"""

_CARRIED = ", ".join(f'd."{name}"' for name in ATTRIBUTES if name not in ("visit_kind", "kind_from"))

_TRIMS = f"""
INSERT INTO trims
SELECT d.farm, d.visit_date, d.cow, {_CARRIED}, d.visit_kind, d.kind_from,
  d.herd_size, d.seen_lf, d.seen_rf, d.seen_lh, d.seen_rh
FROM cow_days d WHERE d.trimmed = 1 ORDER BY d.farm, d.visit_date, d.cow
"""

_LIMB = "CASE WHEN r.foot IN ('LF', 'RF') THEN 'front' WHEN r.foot IN ('LH', 'RH') THEN 'hind' END"
_OF_TRIM = ", ".join(f't."{name}"' for name in ATTRIBUTES)
_TRIM_JOIN = """
FROM trim_rows r JOIN cow_days t ON t.farm = r.farm AND t.cow = r.cow AND t.visit_date = r.visit_date
WHERE r.farm IN (SELECT farm FROM touched)"""


def _quoted(words: Iterable[str]) -> str:
    return ", ".join("'" + word.replace("'", "''") + "'" for word in words)


def _findings() -> str:
    families = sorted({lesion.family for lesion in lesions.LESIONS.values()})
    cases = " ".join(
        f"WHEN r.lesion IN ({_quoted(c for c, lesion in lesions.LESIONS.items() if lesion.family == family)})"
        f" THEN '{family}'"
        for family in families
    )
    return f"""
INSERT INTO findings
SELECT r.farm, r.visit_date, r.cow, {_OF_TRIM}, r.foot, {_LIMB}, r.claw, r.zone, r.lesion, r.lesion_detail,
  CASE {cases} END, r.severity, r.dd_stage, r.action, r.recheck_on
{_TRIM_JOIN} AND r.lesion IS NOT NULL AND COALESCE(r.dd_stage, '') <> 'M0'
ORDER BY r.farm, r.visit_date, r.cow, r.row_no
"""


def _at_least(cut: str) -> str:
    """1 where a score reaches the cut point of its own scale, else 0."""
    return (
        "CASE "
        + " ".join(
            f"WHEN scale = '{name}' THEN CASE WHEN score >= {getattr(scale, cut)} THEN 1 ELSE 0 END"
            for name, scale in locomotion.SCALES.items()
        )
        + " END"
    )


def _scores() -> str:
    """Scores from both sheets. Where trim rows and a scoring sheet hold the same score, it counts once.

    Days without a scoring sheet, most often all, are joined with their attributes once and need no other look.
    """
    return f"""
INSERT INTO scores
WITH on_trims AS (
  SELECT farm, cow, visit_date, locomotion_scale AS scale, MAX(locomotion_score) AS score FROM trim_rows
  WHERE farm IN (SELECT farm FROM touched) AND locomotion_score IS NOT NULL AND locomotion_scale IS NOT NULL
  GROUP BY farm, cow, visit_date, locomotion_scale),
scored AS (
  SELECT farm, cow, date AS visit_date, scorer, score, scale FROM score_rows
  WHERE farm IN (SELECT farm FROM touched)),
both_ways AS (
  SELECT * FROM on_trims o WHERE EXISTS (SELECT 1 FROM scored s
    WHERE s.farm = o.farm AND s.cow = o.cow AND s.visit_date = o.visit_date)),
noted AS (
  SELECT o.farm, o.cow, o.visit_date, t.trimmer AS scorer, o.score, o.scale, t.visit_kind, t.kind_from
  FROM both_ways o JOIN cow_days t ON t.farm = o.farm AND t.cow = o.cow AND t.visit_date = o.visit_date
  UNION ALL
  SELECT farm, cow, visit_date, scorer, score, scale, 'scoring', 'stated' FROM scored),
counted AS (
  SELECT farm, cow, visit_date, 0 AS by_trimmer, scorer, scale, MIN(visit_kind) AS visit_kind,
    MIN(kind_from) AS kind_from, MAX(score) AS score
  FROM noted GROUP BY farm, cow, visit_date, scorer, scale
  UNION ALL
  SELECT farm, cow, visit_date, 1, NULL, scale, NULL, NULL, score FROM on_trims o
  WHERE NOT EXISTS (SELECT 1 FROM scored s
    WHERE s.farm = o.farm AND s.cow = o.cow AND s.visit_date = o.visit_date))
SELECT d.farm, d.visit_date, d.cow, {_CARRIED},
  CASE WHEN by_trimmer = 1 THEN d.visit_kind ELSE c.visit_kind END,
  CASE WHEN by_trimmer = 1 THEN d.kind_from ELSE c.kind_from END,
  CASE WHEN by_trimmer = 1 THEN d.trimmer ELSE c.scorer END, c.score, c.scale,
  {_at_least("lame")}, {_at_least("severe")}
FROM counted c JOIN cow_days d ON d.farm = c.farm AND d.cow = c.cow AND d.visit_date = c.visit_date
ORDER BY d.farm, d.visit_date, d.cow
"""


_MEASURED = (
    "toe_length_mm",
    "toe_length_after_mm",
    "toe_angle_deg",
    "heel_depth_mm",
    "sole_thickness_mm",
    "shed_stage",
    "toe_break_mm",
)

_HORN = f"""
INSERT INTO horn_readings
SELECT r.farm, r.visit_date, r.cow, {_OF_TRIM}, r.foot, {_LIMB}, r.claw,
  {", ".join("r." + name for name in _MEASURED)}, r.zone, r.action, r.recheck_on, l.lame
FROM trim_rows r JOIN cow_days t ON t.farm = r.farm AND t.cow = r.cow AND t.visit_date = r.visit_date
LEFT JOIN (SELECT farm, cow, visit_date, MAX(lame) AS lame FROM scores
           WHERE farm IN (SELECT farm FROM touched) GROUP BY farm, cow, visit_date) l
  ON l.farm = r.farm AND l.cow = r.cow AND l.visit_date = r.visit_date
WHERE r.farm IN (SELECT farm FROM touched)
  AND ({" OR ".join(f"r.{name} IS NOT NULL" for name in _MEASURED)})
ORDER BY r.farm, r.visit_date, r.cow, r.row_no
"""

_COWS = """
INSERT INTO cows
SELECT all_cows.farm, all_cows.cow, birth_date, COALESCE(registered.breed, seen.breed),
  COALESCE(registered.sire, seen.sire), entered_on, left_on, registered.cow IS NOT NULL
FROM (SELECT farm, cow FROM registered UNION SELECT farm, cow FROM cow_days) AS all_cows
LEFT JOIN registered ON registered.farm = all_cows.farm AND registered.cow = all_cows.cow
LEFT JOIN (SELECT farm, cow, MAX(breed) AS breed, MAX(sire) AS sire FROM cow_days GROUP BY farm, cow) AS seen
  ON seen.farm = all_cows.farm AND seen.cow = all_cows.cow
ORDER BY all_cows.farm, all_cows.cow
"""
