"""Resolve what the sheets said into rows that can be counted, for the farms that changed.

A cow's attributes on a day (group, housing, parity, ...) come from the trim sheet where it says so, else
from the register and the housing periods. The share of the herd that was looked at decides the kind of a
visit whose sheet does not say it, of a day of scoring, and of a visit called whole-herd by its sheet.
A number that the register gives to one animal after another is one cow each. Everything here is SQL that
runs inside the engine; nothing comes back.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import islice
from typing import Any, Protocol

from evenfoot.analytics.domain import lesions, locomotion, visits
from evenfoot.analytics.ledger.schema import (
    ATTRIBUTES,
    DERIVED_TABLES,
    LOCOMOTION_FIELDS,
    REGISTER_FIELDS,
    ROW_TABLES,
    TRIM_FIELDS,
    create_statement,
)

VISIT_GAP_DAYS = 3
"""Trim days of one farm no further apart than this are one visit when the share of the herd trimmed is
worked out: a large herd takes several days. [common practice, no source]"""

NEAR_DAYS = 240
"""A herd size on a sheet, and the numbers of cows met at other visits, speak for eight months before and after: herds
are trimmed twice a year as a rule [pub: University of Kentucky, Hoof Trimming of Dairy Cows: 2], and a visit may be
two months late [common practice, no source]."""

MOST_TURNOVER = 1.5
"""Distinct cows met within eight months before and after a visit, to cows in the herd then, at most. A quarter to two
fifths of a herd is replaced in a year. [common practice, no source]"""

FIRST_CALVING_DAYS = 730
"""Age at which a heifer joins the milking herd where neither entry nor calving is known: two years.
[common practice, no source]"""

NOT_SEEN_DAYS = 400
"""A cow without a date of leaving who was looked at once, and then not for so long, is not counted as there: more
than a calving interval. [common practice, no source]"""

LEAST_ALIKE = 3
"""Scorings of the herd that it takes to say how many cows are usually scored. [common practice, no source]"""

FEW_TO_BE_ALL_LAME = 10
"""A scoring of so many cows or more, all lame, is a list of lame cows. Where half of a herd is lame, ten at random are
all lame once in a thousand times. [worked out] Of fewer cows it is not known."""

PICKED = f"(ill = cows OR (cows < {FEW_TO_BE_ALL_LAME} AND 2 * ill > cows))"
"""SQL: whether the cows of a visit may have been picked out for being ill: every one has a lesion or is lame, or most
of a few. The number of such cows says nothing of how large the herd is. [common practice, no source]"""

MILKING_SHARE = 0.85
"""Cows in milk of all cows, where the register does not tell who is dry: some 60 days of 400.
[common practice, no source]"""

_DRY_GROUPS = ("%dry%", "%far%off%", "%close%up%", "%seca%")
"""Names of groups whose cows give no milk: they do not belong to the milking herd."""


def rebuild(execute: _Execute, farms: Iterable[str]) -> None:
    """Rebuild the derived rows of *farms* (inside the caller's transaction).

    Parameters
    ----------
    execute : callable
        Takes one SQL statement, with optional positional parameters.
    farms : iterable of str
    """
    find_coverage(execute, farms)
    for statement in (_visit_kinds(), _unlisted(), _COW_DAYS):
        execute(statement)
    execute(_TRIMS)
    execute(_findings())
    execute(_scores())
    execute(_HORN)
    execute(_COWS)
    for table in _PASSING:
        execute(f"DROP TABLE {table}")


def find_coverage(execute: _Execute, farms: Iterable[str]) -> None:
    """Work out how much of the herd was looked at, and leave it in temporary tables.

    ``visit_days`` has farm, scoring (0 trims, 1 scores), visit_date and run, the number of the visit among the farm's;
    ``coverage`` has farm, scoring, run, first and last day, cows, ill (cows with a lesion or lame), herd_size (missing
    where nothing tells), unsure, 1 where the herd's size is only known by its usual numbers, open, 1 where these do not
    tell whether the whole herd was looked at, and size_from, what tells the size: "sheet", "other sheet" (of the day
    sized_on), "register" or "visits". The derived rows of the farms are gone.

    Parameters
    ----------
    execute : callable
        As for :func:`rebuild`.
    farms : iterable of str
    """
    execute("CREATE OR REPLACE TEMP TABLE touched (farm VARCHAR)")
    names = iter(sorted(set(farms)))
    while some := list(islice(names, 500)):
        execute(f"INSERT INTO touched VALUES {', '.join(['(?)'] * len(some))}", list(some))
    for table in DERIVED_TABLES:
        execute(f"DELETE FROM {table} WHERE farm IN (SELECT farm FROM touched)")
    for statement in (
        _ENTRIES, _REUSED, _CALVINGS, _MOVES, _REGISTERED, _SAID, _looks(), _VISIT_DAYS, _VISITS, _COVERAGE,
    ):  # fmt: skip
        execute(statement)


def derive_anew(connection: Any) -> None:
    """Make every derived table anew from the row tables, inside the caller's transaction."""
    for table, columns in DERIVED_TABLES.items():
        connection.execute(f"DROP TABLE IF EXISTS {table}")
        connection.execute(create_statement(table, columns))
    farms = " UNION ".join(f"SELECT farm FROM {table}" for table, _ in ROW_TABLES.values())

    def execute(sql: str, parameters: list[object] | None = None) -> object:
        return connection.execute(sql, parameters or [])

    rebuild(execute, [farm for (farm,) in connection.execute(farms).fetchall()])


_PASSING = (
    "touched", "entries", "reused", "registered", "said", "looks", "visit_days", "visits", "coverage", "visit_kinds",
    "cow_days",
)  # fmt: skip
"""Temporary tables of a rebuild."""


class _Execute(Protocol):
    """The shape of the callable that :func:`rebuild` is given."""

    def __call__(self, sql: str, parameters: list[object] | None = None) -> object: ...


# Entries of the register, each with the day from which on it speaks of the animal.
_ENTRIES = f"""
CREATE TEMP TABLE entries AS
SELECT *, COALESCE(entered_on, CAST(SUBSTRING(TRIM(calvings), 1, 10) AS DATE), birth_date + {FIRST_CALVING_DAYS})
  AS starts_on
FROM register_rows WHERE farm IN (SELECT farm FROM touched)
"""

# A number is another animal's when an entry begins after an earlier one ended, unless both were born on one day; or
# when the animal was born after the earlier one had come in. Rows up to "until" are the earlier animal's.
_REUSED = """
CREATE TEMP TABLE reused AS
WITH ends AS (
  SELECT DISTINCT farm, cow, until FROM (
    SELECT b.farm, b.cow, b.starts_on,
      LEAST(COALESCE(MAX(a.left_on), b.starts_on - 1), b.starts_on - 1) AS until
    FROM entries a JOIN entries b ON b.farm = a.farm AND b.cow = a.cow AND b.starts_on > a.starts_on
    WHERE b.birth_date > a.starts_on
      OR (b.starts_on >= a.left_on AND (a.birth_date IS NULL OR b.birth_date IS NULL OR a.birth_date <> b.birth_date)
          AND (b.starts_on > a.left_on OR a.birth_date <> b.birth_date OR a.breed <> b.breed))
    GROUP BY b.farm, b.cow, b.starts_on) AS pairs)
SELECT farm, cow, until, COALESCE(LAG(until) OVER (PARTITION BY farm, cow ORDER BY until), CAST('1900-01-01' AS DATE))
    AS since,
  CONCAT(cow, ' (until ', CAST(until AS VARCHAR), ')') AS named
FROM ends
"""


def _of_animals(table: str, fields: Iterable[str], day: str, where: str = "TRUE") -> str:
    """The rows of a table of sheets, with the cow that had the number on the day."""
    columns = ", ".join(f'rows_in."{name}"' for name in fields if name != "cow")
    return f"""(SELECT COALESCE(reused.named, rows_in.cow) AS cow, {columns}
  FROM {table} rows_in LEFT JOIN reused ON reused.farm = rows_in.farm AND reused.cow = rows_in.cow
    AND rows_in.{day} > reused.since AND rows_in.{day} <= reused.until
  WHERE rows_in.farm IN (SELECT farm FROM touched) AND {where})"""


_STAMPED = ("import_no", "row_no")
_TRIM_ROWS = _of_animals("trim_rows", (*_STAMPED, *TRIM_FIELDS), "visit_date")
_SCORE_ROWS = _of_animals("score_rows", (*_STAMPED, *LOCOMOTION_FIELDS), "date")
_REGISTER_ROWS = _of_animals("entries", (*_STAMPED, *REGISTER_FIELDS), "starts_on")

_CALVINGS = f"""
INSERT INTO calvings
SELECT DISTINCT farm, cow, CAST(TRIM(piece) AS DATE)
FROM (SELECT farm, cow, UNNEST(STRING_SPLIT(calvings, ';')) AS piece FROM {_REGISTER_ROWS} AS r
      WHERE calvings IS NOT NULL) AS pieces
WHERE TRIM(piece) <> ''
UNION
SELECT DISTINCT farm, cow, calving_date FROM {_TRIM_ROWS} AS t WHERE calving_date IS NOT NULL
"""

_MOVES = f"""
INSERT INTO moves
SELECT DISTINCT farm, cow, CAST(SUBSTRING(TRIM(piece), 1, 10) AS DATE), TRIM(SUBSTRING(TRIM(piece), 11))
FROM (SELECT farm, cow, UNNEST(STRING_SPLIT(group_moves, ';')) AS piece FROM {_REGISTER_ROWS} AS r
      WHERE group_moves IS NOT NULL) AS pieces
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
FROM {_REGISTER_ROWS} AS r
"""


def _at_least(cut: str, score: str = "score", of_scale: str = "scale") -> str:
    """1 where a score reaches the cut point of its own scale, else 0."""
    return (
        "CASE "
        + " ".join(
            f"WHEN {of_scale} = '{name}' THEN CASE WHEN {score} >= {getattr(scale, cut)} THEN 1 ELSE 0 END"
            for name, scale in locomotion.SCALES.items()
        )
        + " END"
    )


# One row a cow and trim day, as the trim sheet had it. A foot counts as looked at when the sheet does not
# limit the feet, when it names that foot, or when something was found on it. A cow that is not listed, and was
# looked at and sound, is added later.
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
    + f""",
  MAX(CASE WHEN locomotion_score IS NULL THEN 0 ELSE 1 END) AS scored, 1 AS listed,
  GREATEST(MAX(CASE WHEN lesion IS NOT NULL AND COALESCE(dd_stage, '') <> 'M0' THEN 1 ELSE 0 END),
    COALESCE(MAX({_at_least("lame", "locomotion_score", "locomotion_scale")}), 0)) AS ill
FROM {_TRIM_ROWS} AS r
GROUP BY farm, cow, visit_date
"""
)


def _quoted(words: Iterable[str]) -> str:
    return ", ".join("'" + word.replace("'", "''") + "'" for word in words)


_WHOLE = _quoted((visits.WHOLE_HERD, visits.REST_SOUND))
"""Kinds by which a sheet says that it was a whole-herd visit."""


def _looks() -> str:
    """One row a cow, day and sort of sheet (``scoring`` 0 or 1); ``judged`` where the share looked at decides."""
    return f"""
CREATE TEMP TABLE looks AS
SELECT farm, 0 AS scoring, visit_date, cow, "group", herd_size, scored, ill,
  CASE WHEN visit_kind = '{visits.REST_SOUND}' THEN 1 ELSE 0 END AS rest_sound,
  CASE WHEN visit_kind IS NULL OR visit_kind IN ({_WHOLE}) THEN 1 ELSE 0 END AS judged
FROM said
UNION ALL
SELECT farm, 1, date, cow, MAX("group"), MAX(herd_size), 1, COALESCE(MAX({_at_least("lame")}), 0), 0, 1
FROM {_SCORE_ROWS} AS s GROUP BY farm, date, cow
"""


_VISIT_DAYS = f"""
CREATE TEMP TABLE visit_days AS
WITH days AS (SELECT DISTINCT farm, scoring, visit_date FROM looks WHERE judged = 1),
gaps AS (SELECT farm, scoring, visit_date,
           CASE WHEN visit_date - LAG(visit_date) OVER (PARTITION BY farm, scoring ORDER BY visit_date)
                     <= {VISIT_GAP_DAYS} THEN 0 ELSE 1 END AS starts FROM days)
SELECT farm, scoring, visit_date, SUM(starts) OVER (PARTITION BY farm, scoring ORDER BY visit_date) AS run FROM gaps
"""

_VISITS = """
CREATE TEMP TABLE visits AS
SELECT l.farm, l.scoring, run, MIN(l.visit_date) AS first, MAX(l.visit_date) AS last,
  COUNT(DISTINCT l.cow) AS cows, COUNT(DISTINCT CASE WHEN scored = 1 THEN l.cow END) AS scored,
  COUNT(DISTINCT r.cow) AS known, MAX(herd_size) AS own_size, MAX(rest_sound) AS rest_sound,
  COUNT(DISTINCT CASE WHEN ill = 1 THEN l.cow END) AS ill
FROM looks l JOIN visit_days d ON d.farm = l.farm AND d.scoring = l.scoring AND d.visit_date = l.visit_date
LEFT JOIN registered r ON r.farm = l.farm AND r.cow = l.cow
WHERE judged = 1 GROUP BY l.farm, l.scoring, run
"""

_DRY = " OR ".join(f"LOWER(\"group\") LIKE '{name}'" for name in _DRY_GROUPS)

# How large the herd was at each visit: as the sheet says, else a sheet of the half year around it, else the register
# (less the cows that are dry) where it knows at least four fifths of the cows looked at, else what other visits tell:
# as many cows as at the largest of the half year before and after (of scorings for a scoring where there is one; visits
# whose cows may have been picked out do not tell), and no fewer than the distinct cows met in that time leave after a
# year's turnover.
_COVERAGE = f"""
CREATE TEMP TABLE coverage AS
WITH sizes AS (
  SELECT farm, visit_date, MAX(herd_size) AS herd_size FROM looks WHERE herd_size IS NOT NULL
  GROUP BY farm, visit_date),
near AS (
  SELECT farm, scoring, run, herd_size, visit_date FROM (
    SELECT v.farm, v.scoring, v.run, s.herd_size, s.visit_date,
      ROW_NUMBER() OVER (PARTITION BY v.farm, v.scoring, v.run ORDER BY ABS(s.visit_date - v.first), s.visit_date)
        AS place
    FROM visits v JOIN sizes s ON s.farm = v.farm
      AND s.visit_date >= v.first - {NEAR_DAYS} AND s.visit_date <= v.last + {NEAR_DAYS}
    WHERE v.own_size IS NULL) AS by_distance
  WHERE place = 1),
unsized AS (
  SELECT v.* FROM visits v WHERE own_size IS NULL AND NOT EXISTS (
    SELECT 1 FROM near n WHERE n.farm = v.farm AND n.scoring = v.scoring AND n.run = v.run)),
herd AS (
  SELECT r.farm, r.cow, left_on, last_look,
    COALESCE(entered_on, calved_on, birth_date + {FIRST_CALVING_DAYS}, CAST('1900-01-01' AS DATE)) AS came_on
  FROM registered r
  LEFT JOIN (SELECT farm, cow, MIN(calved_on) AS calved_on FROM calvings
             WHERE farm IN (SELECT farm FROM touched) GROUP BY farm, cow) c ON c.farm = r.farm AND c.cow = r.cow
  LEFT JOIN (SELECT farm, cow, MAX(visit_date) AS last_look FROM looks GROUP BY farm, cow) l
    ON l.farm = r.farm AND l.cow = r.cow),
dry AS (
  SELECT farm, cow, moved_on, next_on FROM (
    SELECT farm, cow, "group", moved_on, LEAD(moved_on) OVER (PARTITION BY farm, cow ORDER BY moved_on) AS next_on
    FROM moves WHERE farm IN (SELECT farm FROM touched)) AS stays
  WHERE {_DRY}),
registered_then AS (
  SELECT v.farm, v.scoring, v.run,
    COUNT(*) * MAX(CASE WHEN told.farm IS NULL THEN {MILKING_SHARE} ELSE 1.0 END) AS herd_size
  FROM unsized v
  LEFT JOIN (SELECT DISTINCT farm FROM dry) told ON told.farm = v.farm
  JOIN herd h ON h.farm = v.farm AND came_on <= v.last AND (left_on IS NULL OR left_on > v.first)
    AND (left_on IS NOT NULL OR last_look IS NULL OR last_look >= v.first - {NOT_SEEN_DAYS})
  WHERE v.known >= {visits.WHOLE_HERD_SHARE} * v.cows AND NOT EXISTS (
    SELECT 1 FROM dry WHERE dry.farm = h.farm AND dry.cow = h.cow AND moved_on <= v.first
      AND (next_on IS NULL OR next_on > v.first))
  GROUP BY v.farm, v.scoring, v.run),
unlisted AS (
  SELECT v.* FROM unsized v WHERE NOT EXISTS (
    SELECT 1 FROM registered_then n WHERE n.farm = v.farm AND n.scoring = v.scoring AND n.run = v.run)),
others AS (
  SELECT v.farm, v.scoring, v.run, MAX(CASE WHEN o.scoring = v.scoring THEN o.cows END) AS alike, MAX(o.cows) AS most
  FROM unlisted v JOIN (SELECT * FROM visits WHERE NOT {PICKED}) o
    ON o.farm = v.farm AND (o.run <> v.run OR o.scoring <> v.scoring)
    AND o.last >= v.first - {NEAR_DAYS} AND o.first <= v.last + {NEAR_DAYS}
  GROUP BY v.farm, v.scoring, v.run),
met AS (
  SELECT v.farm, v.scoring, v.run, COUNT(DISTINCT l.cow) AS met
  FROM unlisted v JOIN looks l ON l.farm = v.farm
    AND l.visit_date >= v.first - {NEAR_DAYS} AND l.visit_date <= v.last + {NEAR_DAYS}
  GROUP BY v.farm, v.scoring, v.run),
usual AS (
  SELECT v.farm, v.scoring, v.run,
    CASE WHEN most IS NULL AND met = v.cows THEN NULL
         ELSE GREATEST(COALESCE(alike, most, 0), met / {MOST_TURNOVER}) END AS herd_size,
    CASE WHEN most IS NULL THEN 1 ELSE 0 END AS at_least
  FROM unlisted v
  JOIN met ON met.farm = v.farm AND met.scoring = v.scoring AND met.run = v.run
  LEFT JOIN others o ON o.farm = v.farm AND o.scoring = v.scoring AND o.run = v.run)
SELECT v.farm, v.scoring, v.run, v.first, v.last, v.cows, v.scored, v.ill, v.rest_sound,
  COALESCE(v.own_size, near.herd_size, registered_then.herd_size, usual.herd_size) AS herd_size,
  CASE WHEN COALESCE(v.own_size, near.herd_size, registered_then.herd_size) IS NULL THEN 1 ELSE 0 END AS unsure,
  CASE WHEN COALESCE(v.own_size, near.herd_size, registered_then.herd_size) IS NULL AND (at_least = 1 OR {PICKED})
       THEN 1 ELSE 0 END AS open,
  CASE WHEN v.own_size IS NOT NULL THEN 'sheet' WHEN near.herd_size IS NOT NULL THEN 'other sheet'
       WHEN registered_then.herd_size IS NOT NULL THEN 'register' ELSE 'visits' END AS size_from,
  near.visit_date AS sized_on
FROM visits v
LEFT JOIN near ON near.farm = v.farm AND near.scoring = v.scoring AND near.run = v.run
LEFT JOIN registered_then ON registered_then.farm = v.farm AND registered_then.scoring = v.scoring
  AND registered_then.run = v.run
LEFT JOIN usual ON usual.farm = v.farm AND usual.scoring = v.scoring AND usual.run = v.run
"""


def _visit_kinds() -> str:
    """Kind of every judged day by the share of the herd looked at, and of the scores that its trim sheet holds.

    Where the herd's size is not known, or only that it is no smaller than so many cows, the kind is not known, unless
    the cows are fewer than 80 % of those. A scoring is then taken for one of the herd, unless its cows may have been
    picked out for being lame.

    A scoring that misses the share by a few cows still counts as one of the herd when it has 80 % of the cows of the
    herd's other scorings of the half year, which themselves reach the share: some cows are always missed.
    """
    enough = f"{visits.WHOLE_HERD_SHARE} * herd_size"
    picked = PICKED.replace("cows", "c.cows")
    unknown = f"CASE WHEN d.scoring = 1 THEN unsure = 1 AND {picked} ELSE open = 1 OR herd_size IS NULL END"
    listed_lame = f"unsure = 1 AND ill = c.cows AND c.cows >= {FEW_TO_BE_ALL_LAME}"
    return f"""
CREATE TEMP TABLE visit_kinds AS
WITH alike AS (
  SELECT v.farm, v.run, AVG(o.cows) AS cows FROM coverage v
  JOIN coverage o ON o.farm = v.farm AND o.scoring = 1 AND o.run <> v.run
    AND o.open = 0 AND o.cows >= {visits.WHOLE_HERD_SHARE} * o.herd_size
    AND o.last >= v.first - {NEAR_DAYS} AND o.first <= v.last + {NEAR_DAYS}
  WHERE v.scoring = 1 GROUP BY v.farm, v.run HAVING COUNT(*) >= {LEAST_ALIKE})
SELECT d.farm, d.scoring, d.visit_date,
  CASE WHEN d.scoring = 0 AND rest_sound = 1 THEN
         CASE WHEN herd_size IS NULL THEN 'part-herd' ELSE 'whole-herd' END
       WHEN d.scoring = 1 AND {listed_lame} THEN 'part-herd'
       WHEN d.scoring = 1 AND ill < c.cows AND c.cows >= {visits.WHOLE_HERD_SHARE} * alike.cows THEN 'scoring'
       WHEN c.cows < {enough} THEN 'part-herd'
       WHEN {unknown} THEN 'unknown'
       WHEN d.scoring = 1 THEN 'scoring' ELSE 'whole-herd' END AS visit_kind,
  CASE WHEN d.scoring = 1 AND {listed_lame} THEN 'derived'
       WHEN c.cows < {enough} THEN 'derived'
       WHEN open = 1 OR herd_size IS NULL THEN 'unknown' ELSE 'derived' END AS kind_from,
  CASE WHEN scored < {visits.WHOLE_HERD_SHARE} * CASE WHEN rest_sound = 0 AND herd_size > c.cows
                                                      THEN herd_size ELSE c.cows END
       THEN 1 ELSE 0 END AS few_scored
FROM visit_days d JOIN coverage c ON c.farm = d.farm AND c.scoring = d.scoring AND c.run = d.run
LEFT JOIN alike ON d.scoring = 1 AND alike.farm = d.farm AND alike.run = d.run
"""


def _unlisted() -> str:
    """Cows that a sheet does not list although the whole herd was looked at, and the rest was sound.

    Those that are known to have been there, nearest in time first; the others go by a number. So a cow counts once,
    at whichever visits she is listed.
    """
    return f"""
INSERT INTO said
WITH RECURSIVE missing AS (
  SELECT farm, run, first, last, CAST(ROUND(herd_size) AS INTEGER) - cows AS lacking FROM coverage
  WHERE scoring = 0 AND rest_sound = 1 AND herd_size > cows),
numbers AS (
  SELECT 1 AS place UNION ALL SELECT place + 1 FROM numbers WHERE place < (SELECT MAX(lacking) FROM missing)),
elsewhere AS (
  SELECT m.farm, m.run, l.cow, MIN(ABS(l.visit_date - m.first)) AS away
  FROM missing m JOIN looks l ON l.farm = m.farm
    AND l.visit_date >= m.first - {2 * NEAR_DAYS} AND l.visit_date <= m.last + {2 * NEAR_DAYS}
  WHERE NOT EXISTS (SELECT 1 FROM looks s WHERE s.farm = m.farm AND s.cow = l.cow AND s.scoring = 0
                    AND s.visit_date >= m.first AND s.visit_date <= m.last)
    AND NOT EXISTS (SELECT 1 FROM registered r WHERE r.farm = m.farm AND r.cow = l.cow
                    AND (r.left_on <= m.first OR r.entered_on > m.last))
  GROUP BY m.farm, m.run, l.cow),
known AS (
  SELECT farm, run, cow, ROW_NUMBER() OVER (PARTITION BY farm, run ORDER BY away, cow) AS place FROM elsewhere),
how_many AS (SELECT farm, run, COUNT(*) AS n FROM known GROUP BY farm, run),
rest AS (
  SELECT m.farm, m.first, COALESCE(k.cow, CONCAT('not listed ', CAST(numbers.place - COALESCE(h.n, 0) AS VARCHAR)))
    AS cow
  FROM missing m JOIN numbers ON numbers.place <= m.lacking
  LEFT JOIN known k ON k.farm = m.farm AND k.run = m.run AND k.place = numbers.place
  LEFT JOIN how_many h ON h.farm = m.farm AND h.run = m.run)
SELECT rest.farm, rest.cow, rest.first, s.trimmer, '{visits.WHOLE_HERD}', s.herd_size,
  NULL, NULL, NULL, NULL, NULL, NULL, NULL, NULL, 1, 1, 1, 1, 0, 0, 0
FROM rest JOIN (SELECT farm, visit_date, MAX(trimmer) AS trimmer, MAX(herd_size) AS herd_size FROM said
                GROUP BY farm, visit_date) AS s ON s.farm = rest.farm AND s.visit_date = rest.first
"""


_OF_SHEET = (
    "group", "housing", "floor", "bedding", "parity", "calving_date", "breed", "sire", "trimmer", "visit_kind",
    "herd_size", "seen_lf", "seen_rf", "seen_lh", "seen_rh", "listed",
)  # fmt: skip
"""What the trim sheet says of a cow and day, which a day of scoring alone leaves open."""

_SAYS = ", ".join(f'"{name}"' for name in _OF_SHEET)
_SAYS_NOTHING = ", ".join(
    "1" if name == "listed" else f"CAST(NULL AS {DERIVED_TABLES['trims'][name]})" for name in _OF_SHEET
)

_COW_DAYS = f"""
CREATE TEMP TABLE cow_days AS
WITH days AS (
  SELECT farm, cow, visit_date, 1 AS trimmed, {_SAYS} FROM said
  UNION ALL
  SELECT farm, cow, date, 0, {_SAYS_NOTHING} FROM (
    SELECT farm, cow, visit_date AS date FROM looks WHERE scoring = 1) AS scored
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
    COALESCE(days."group", told."group", grouped."group") AS "group", days.housing, days.floor, days.bedding,
    COALESCE(days.parity, calved.parity) AS parity,
    COALESCE(days.calving_date, calved.calving_date) AS calving_date,
    COALESCE(days.breed, registered.breed, bred.breed) AS breed,
    COALESCE(days.sire, registered.sire, bred.sire) AS sire,
    days.trimmer, days.visit_kind, days.herd_size, days.seen_lf, days.seen_rf, days.seen_lh, days.seen_rh, days.listed
  FROM days
  LEFT JOIN (SELECT farm, cow, visit_date, "group" FROM looks WHERE scoring = 1 AND "group" IS NOT NULL) AS told
    ON days.farm = told.farm AND days.cow = told.cow AND days.visit_date = told.visit_date
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
  CASE WHEN known.visit_kind IS NULL THEN visit_kinds.visit_kind
       WHEN known.visit_kind NOT IN ({_WHOLE}) THEN known.visit_kind
       WHEN visit_kinds.visit_kind = 'part-herd' THEN 'part-herd' ELSE '{visits.WHOLE_HERD}' END AS visit_kind,
  CASE WHEN known.listed = 0 THEN 'unlisted'
       WHEN known.visit_kind IS NULL THEN visit_kinds.kind_from
       WHEN known.visit_kind IN ({_WHOLE}) AND visit_kinds.visit_kind = 'part-herd' THEN 'contradicted'
       ELSE 'stated' END AS kind_from,
  visit_kinds.few_scored, known.herd_size, known.seen_lf, known.seen_rf, known.seen_lh, known.seen_rh, known.listed
FROM known
LEFT JOIN visit_kinds ON known.trimmed = 1 AND visit_kinds.scoring = 0 AND visit_kinds.farm = known.farm
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
_TRIM_JOIN = f"""
FROM {_TRIM_ROWS} AS r JOIN cow_days t ON t.farm = r.farm AND t.cow = r.cow AND t.visit_date = r.visit_date"""


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
{_TRIM_JOIN}
WHERE r.lesion IS NOT NULL AND COALESCE(r.dd_stage, '') <> 'M0'
ORDER BY r.farm, r.visit_date, r.cow, r.row_no
"""


def _kind_of_scores(day: str) -> tuple[str, str]:
    """Kind, and how it is known, of the scores on a trim sheet: where few of the herd have one, not of the whole."""
    few = f"{day}.few_scored = 1 AND {day}.visit_kind = 'whole-herd'"
    return (
        f"CASE WHEN {few} THEN 'part-herd' ELSE {day}.visit_kind END",
        f"CASE WHEN {few} THEN 'derived' ELSE {day}.kind_from END",
    )


def _scores() -> str:
    """Scores from both sheets. Where trim rows and a scoring sheet hold the same score, it counts once.

    Days without a scoring sheet, most often all, are joined with their attributes once and need no other look.
    """
    kind, known = _kind_of_scores("d")
    both_kind, both_known = _kind_of_scores("t")
    return f"""
INSERT INTO scores
WITH on_trims AS (
  SELECT farm, cow, visit_date, locomotion_scale AS scale, MAX(locomotion_score) AS score FROM {_TRIM_ROWS} AS r
  WHERE locomotion_score IS NOT NULL AND locomotion_scale IS NOT NULL
  GROUP BY farm, cow, visit_date, locomotion_scale),
scored AS (
  SELECT s.farm, s.cow, s.date AS visit_date, s.scorer, s.score, s.scale, k.visit_kind, k.kind_from
  FROM {_SCORE_ROWS} AS s
  JOIN visit_kinds k ON k.scoring = 1 AND k.farm = s.farm AND k.visit_date = s.date),
both_ways AS (
  SELECT * FROM on_trims o WHERE EXISTS (SELECT 1 FROM scored s
    WHERE s.farm = o.farm AND s.cow = o.cow AND s.visit_date = o.visit_date)),
noted AS (
  SELECT o.farm, o.cow, o.visit_date, t.trimmer AS scorer, o.score, o.scale, {both_kind} AS visit_kind,
    {both_known} AS kind_from
  FROM both_ways o JOIN cow_days t ON t.farm = o.farm AND t.cow = o.cow AND t.visit_date = o.visit_date
  UNION ALL
  SELECT farm, cow, visit_date, scorer, score, scale, visit_kind, kind_from FROM scored),
counted AS (
  SELECT farm, cow, visit_date, 0 AS by_trimmer, scorer, scale, MIN(visit_kind) AS visit_kind,
    MIN(kind_from) AS kind_from, MAX(score) AS score
  FROM noted GROUP BY farm, cow, visit_date, scorer, scale
  UNION ALL
  SELECT farm, cow, visit_date, 1, NULL, scale, NULL, NULL, score FROM on_trims o
  WHERE NOT EXISTS (SELECT 1 FROM scored s
    WHERE s.farm = o.farm AND s.cow = o.cow AND s.visit_date = o.visit_date))
SELECT d.farm, d.visit_date, d.cow, {_CARRIED},
  CASE WHEN by_trimmer = 0 THEN c.visit_kind ELSE {kind} END,
  CASE WHEN by_trimmer = 0 THEN c.kind_from ELSE {known} END,
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
FROM {_TRIM_ROWS} AS r
JOIN cow_days t ON t.farm = r.farm AND t.cow = r.cow AND t.visit_date = r.visit_date
LEFT JOIN (SELECT farm, cow, visit_date, MAX(lame) AS lame FROM scores
           WHERE farm IN (SELECT farm FROM touched) GROUP BY farm, cow, visit_date) l
  ON l.farm = r.farm AND l.cow = r.cow AND l.visit_date = r.visit_date
WHERE ({" OR ".join(f"r.{name} IS NOT NULL" for name in _MEASURED)})
ORDER BY r.farm, r.visit_date, r.cow, r.row_no
"""

# A cow that stands for one that is not listed is nobody's.
_COWS = """
INSERT INTO cows
SELECT all_cows.farm, all_cows.cow, birth_date, COALESCE(registered.breed, seen.breed),
  COALESCE(registered.sire, seen.sire), entered_on, left_on, registered.cow IS NOT NULL,
  COALESCE(reused.cow, all_cows.cow), reused.since, reused.until
FROM (SELECT farm, cow FROM registered UNION SELECT farm, cow FROM cow_days WHERE listed = 1) AS all_cows
LEFT JOIN registered ON registered.farm = all_cows.farm AND registered.cow = all_cows.cow
LEFT JOIN (SELECT farm, cow, MAX(breed) AS breed, MAX(sire) AS sire FROM cow_days GROUP BY farm, cow) AS seen
  ON seen.farm = all_cows.farm AND seen.cow = all_cows.cow
LEFT JOIN reused ON reused.farm = all_cows.farm AND reused.named = all_cows.cow
ORDER BY all_cows.farm, all_cows.cow
"""
