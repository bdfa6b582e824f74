"""Spells of a lesion: when it first shows in one place and when it was last seen before it had gone.

Rows of the same lesion in the same place (a cow, or one of her claws) that follow each other sooner than a
gap are one case that has not healed. A row after the gap begins a new one.
"""

from __future__ import annotations

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.analytics.queries import sql
from evenfoot.analytics.queries.filters import findings, grouped, trims
from evenfoot.analytics.queries.selection import Selection

GAP_DAYS = 90
"""Days without the lesion after which it counts as a new case. [common practice, no source]"""

PLACES = ("cow", "claw")
"""Where a lesion has to be the same one: anywhere on the cow, or on one claw."""

OF_EPISODE = (
    "farm", "month", "quarter", "season", "year", "housing", "floor", "bedding", "wetness", "group", "parity",
    "breed", "sire", "lesion", "family", "severity", "action", "foot", "limb", "claw",
)  # fmt: skip
"""Groupings an episode can have, as they were on one of its days."""

_CARRIED = (
    "group",
    "housing",
    "floor",
    "bedding",
    "wetness",
    "parity",
    "breed",
    "sire",
    "family",
    "severity",
    "action",
)

_SITE = ("foot", "limb", "claw")


def checked_gap(gap_days: int) -> int:
    """The gap, or a UserError when it is not a number of days.

    Raises
    ------
    UserError
        It is below 1.
    """
    if gap_days < 1:
        raise UserError(
            say(
                "A gap of {gap_days} days is not possible; give 1 day or more, such as --gap-days 90.",
                gap_days=gap_days,
            )
        )
    return int(gap_days)


def _of_lesions(selection: Selection, place: str) -> str:
    """The findings of :func:`lesion_days`, each with its place and ``asked``."""
    if place not in PLACES:
        raise UserError(say("New cases are counted per cow or per claw, not per '{place}'.", place=place))
    rows = findings(
        selection.with_(
            since=None, visits=("all",), groups=(), housing=(), floor=(), seasons=(), parity=(), breeds=(),
            trimmers=(), severity=(),
        )
    )  # fmt: skip
    wanted: list[str] = []
    if not selection.all_visits:
        wanted.append(sql.among("COALESCE(visit_kind, 'unknown')", selection.visits))
    if selection.severity:
        wanted.append(sql.among("severity", selection.severity))
    if selection.trimmers:
        wanted.append(sql.among("trimmer", selection.trimmers))
    asked = f"CASE WHEN {' AND '.join(wanted)} THEN 1 ELSE 0 END" if wanted else "1"
    if place == "cow":
        return f"SELECT *, {asked} AS asked, '' AS place FROM ({rows}) AS of_cows"
    return f"""
        SELECT *, {asked} AS asked, foot || COALESCE(claw, '') AS place
        FROM ({rows}) AS of_claws
        WHERE foot IS NOT NULL"""


def lesion_days(selection: Selection, place: str) -> str:
    """One row a lesion, place and day, in every kind of visit and from the first record on.

    A lesion of the skin names no claw, so its place is the foot.

    Returns
    -------
    str
        A question: farm, cow, place, lesion, visit_date, ``asked`` (1 where the selection's visits, severity and
        trimmers take the row in), the attributes of that day, foot, limb and claw.

    Raises
    ------
    UserError
        *place* is neither ``cow`` nor ``claw``.
    """
    carried = sql.listed({name: f"MAX({sql.name(name)})" for name in (*_CARRIED, *_SITE)})
    return f"""
        SELECT farm, cow, place, lesion, visit_date, MAX(asked) AS asked, {carried}
        FROM ({_of_lesions(selection, place)}) AS of_lesions
        GROUP BY farm, cow, place, lesion, visit_date"""


def _of_attributes(selection: Selection, of: str) -> list[str]:
    """Conditions for the days on which the cow was as the selection asks; *of* is the table of the days."""
    fields = {
        "group": selection.groups,
        "housing": selection.housing,
        "floor": selection.floor,
        "breed": selection.breeds,
        "parity": selection.parity,
        "season": selection.seasons,
    }
    return [sql.among(grouped(name, selection, of), wanted) for name, wanted in fields.items() if wanted]


def _by_columns(by: tuple[str, ...], selection: Selection, of: str) -> dict[str, str]:
    """The groupings as columns ``by_NAME``; *of* is the table of the days."""
    out: dict[str, str] = {}
    for name in by:
        if name not in OF_EPISODE:
            raise UserError(
                say(
                    "Cases cannot be grouped by '{name}'; use any of {listed}.", name=name, listed=", ".join(OF_EPISODE)
                )
            )
        out[f"by_{name}"] = f"COALESCE({of}.action, 'none')" if name == "action" else grouped(name, selection, of)
    return out


def _without_by(by: tuple[str, ...]) -> str:
    """The columns ``by_NAME`` of the groupings under their plain names."""
    return sql.listed({name: sql.name(f"by_{name}") for name in by})


_OF_DAY_ALONE = ("farm", "lesion", "month", "quarter", "season", "year")
"""Groupings and attributes that need nothing of a finding but its farm, lesion and day."""


def _new_days(selection: Selection, place: str, gap_days: int) -> str:
    """Days on which a lesion is a new case, at a visit asked for: its attributes as :func:`lesion_days` gives them."""
    return f"""
        SELECT *
        FROM (
            SELECT *, LAG(visit_date) OVER (PARTITION BY farm, cow, place, lesion ORDER BY visit_date) AS before
            FROM ({lesion_days(selection, place)}) AS days
        ) AS ordered
        WHERE asked = 1 AND (before IS NULL OR {sql.days_between("before", "visit_date")} >= {sql.literal(gap_days)})"""


def _new_days_by_lists(selection: Selection, place: str, gap_days: int) -> str:
    """The same of farm, cow, place, lesion and visit_date alone, from one sorted list a cow, place and lesion.

    The list holds twice the day, and one more where the finding is not asked for, so that the one asked for comes
    first. The list of those before is one longer. Of a day not asked for before, twice the gap is one less.

    It takes two thirds of the work of setting the days of all in order, of some ten thousand findings as of ten
    million. Only the embedded engine is asked this way.
    """
    begin = "DATE '1970-01-01'"
    marks_apart = sql.literal(2 * gap_days - 1)
    return f"""
        WITH sorted_lists AS (
            SELECT farm, cow, place, lesion,
                LIST_SORT(ARRAY_AGG({sql.days_between(begin, "visit_date")} * 2 + 1 - asked)) AS marks
            FROM ({_of_lesions(selection, place)}) AS of_lesions
            GROUP BY farm, cow, place, lesion
        ),
        marked AS (
            SELECT farm, cow, place, lesion, UNNEST(marks) AS mark,
                UNNEST(LIST_CONCAT([CAST(NULL AS BIGINT)], marks)) AS before
            FROM sorted_lists
        )
        SELECT farm, cow, place, lesion, {sql.days_after(begin, "mark // 2")} AS visit_date
        FROM marked
        WHERE mark IS NOT NULL AND mark % 2 = 0 AND (before IS NULL OR mark - before >= {marks_apart})"""


def new_cases_question(
    selection: Selection,
    by: tuple[str, ...],
    place: str,
    gap_days: int,
    of_lists: bool = False,
    cluster: tuple[str, ...] = (),
) -> str:
    """New cases by the groupings.

    With a *cluster* (``("farm",)`` or ``("farm", "cow")``) each group is split by it, in columns farm_key and cow_key.
    *of_lists*: the engine is the embedded one, which sorts and lays out lists.

    Returns
    -------
    str
        A question: the ``by`` columns, those of the cluster, new_cases, cows, and ``early``: the cases within the gap
        of their farm's first visit of the kinds asked for. Nothing was written down long enough before to know that
        they are new.
    """
    narrowed = selection.groups or selection.housing or selection.floor or selection.breeds or selection.parity
    plain = set(by) <= set(_OF_DAY_ALONE) and not narrowed and len(selection.farms) != 1
    new = (_new_days_by_lists if of_lists and plain else _new_days)(selection, place, gap_days)
    keep = _of_attributes(selection, "d")
    if selection.since:
        keep.append(f"d.visit_date >= {sql.literal(selection.since)}")
    groups = _by_columns(by, selection, "d")
    early = f"CASE WHEN {sql.days_between('f.first', 'd.visit_date')} < {sql.literal(gap_days)} THEN 1 ELSE 0 END"
    chosen = sql.commas(sql.listed(groups), "d.farm AS farm_key", "d.cow AS cow_key", f"{early} AS early")
    cases = f"""
        SELECT {chosen}
        FROM ({new}) AS d
        JOIN ({farm_spans(selection)}) AS f ON d.farm = f.farm
        {sql.where(*keep)}"""
    # Cow by cow first: to tell the cows of a group apart among all cases takes far longer.
    of_cow = [*groups, "farm_key", "cow_key"]
    cows = f"""
        SELECT {sql.names(of_cow)}, COUNT(*) AS n, SUM(early) AS early
        FROM ({cases}) AS new_cases
        {sql.group_by(of_cow)}"""
    clusters = [f"{name}_key" for name in cluster]
    sums = f"{sql.total('n')} AS new_cases, COUNT(*) AS cows, {sql.total('early')} AS early"
    return f"""
        SELECT {sql.commas(_without_by(by), sql.names(clusters), sums)}
        FROM ({cows}) AS cows_with_new_cases
        {sql.group_by([*groups, *clusters])}"""


def farm_spans(selection: Selection) -> str:
    """First and last visit of each farm, of the kinds asked for, whatever the period.

    Returns
    -------
    str
        A question: farm, first, last.
    """
    rows = trims(Selection(farms=selection.farms, allowed=selection.allowed, visits=selection.visits))
    return f"""
        SELECT farm, MIN(visit_date) AS first, MAX(visit_date) AS last
        FROM ({rows}) AS visits_of_farms
        GROUP BY farm"""


def _episodes(selection: Selection, place: str, gap_days: int) -> str:
    """One row an episode: farm, cow, place, lesion, visit_date (the day last seen), next_on (when the lesion came
    back, if it did), its attributes on the day last seen, severity (the worst) and asked."""
    key = "farm, cow, place, lesion"
    gap = sql.literal(gap_days)
    same_spell = f"{sql.days_between('before', 'visit_date')} < {gap}"
    attributes = sql.names(name for name in (*_CARRIED, *_SITE) if name != "severity")
    return f"""
        WITH days_in_order AS (
            SELECT *,
                LAG(visit_date) OVER (PARTITION BY {key} ORDER BY visit_date) AS before,
                LEAD(visit_date) OVER (PARTITION BY {key} ORDER BY visit_date) AS next_on
            FROM ({lesion_days(selection, place)}) AS each_day
        ),
        spells AS (
            SELECT *,
                SUM(CASE WHEN {same_spell} THEN 0 ELSE 1 END) OVER (
                    PARTITION BY {key} ORDER BY visit_date ROWS BETWEEN UNBOUNDED PRECEDING AND CURRENT ROW
                ) AS spell
            FROM days_in_order
        ),
        days_of_spells AS (
            SELECT {key}, visit_date, next_on, {attributes},
                MAX(severity) OVER (PARTITION BY {key}, spell) AS severity,
                MAX(asked) OVER (PARTITION BY {key}, spell) AS asked
            FROM spells
        )
        SELECT *
        FROM days_of_spells
        WHERE next_on IS NULL OR {sql.days_between("visit_date", "next_on")} >= {gap}"""


def _episodes_asked(selection: Selection, of: str) -> str:
    """The condition for the episodes that the selection asks for; *of* is the table of the episodes."""
    keep = [f"{of}.asked = 1", *_of_attributes(selection, of)]
    if selection.since:
        keep.append(f"{of}.visit_date >= {sql.literal(selection.since)}")
    return sql.where(*keep)


def recurrence_question(selection: Selection, by: tuple[str, ...], place: str, gap_days: int) -> str:
    """The time from an episode's last day to the same lesion again, or to the end of the follow-up.

    A cow is followed to her last trim, or to her leaving where that comes first.

    Returns
    -------
    str
        A question: the ``by`` columns, farm_key, cow_key, entered, days, recurred (0 or 1), cases; one row a group,
        cow, time and outcome. ``entered`` is the time, in the same days, from which she could be seen: 0, or later
        where she came to the herd after the case was seen elsewhere.
    """
    groups = _by_columns(by, selection, "e")
    followed = sql.days_between("e.visit_date", "COALESCE(e.next_on, s.followed_to)")
    came = sql.days_between("e.visit_date", "COALESCE(s.entered_on, e.visit_date)")
    times = f"""
        GREATEST({came}, 0) AS entered,
        {followed} AS days,
        CAST(CASE WHEN e.next_on IS NULL THEN 0 ELSE 1 END AS BIGINT) AS recurred"""
    cases = f"""
        SELECT {sql.commas(sql.listed(groups), "e.farm AS farm_key", "e.cow AS cow_key", times)}
        FROM ({_episodes(selection, place, gap_days)}) AS e
        JOIN ({_last_seen(selection)}) AS s ON e.farm = s.farm AND e.cow = s.cow
        {_episodes_asked(selection, "e")}"""
    keys = ["farm_key", "cow_key", "entered", "days", "recurred"]
    return f"""
        SELECT {sql.commas(_without_by(by), sql.names(keys))}, COUNT(*) AS cases
        FROM ({cases}) AS cases_followed
        {sql.group_by([*groups, *keys])}"""


def repeat_cows_question(selection: Selection, gap_days: int) -> str:
    """The claws (feet, for lesions of the skin) on which a lesion came back.

    Returns
    -------
    str
        A question: farm, cow, foot, claw, lesion, times (episodes), last (day last seen).
    """
    return f"""
        SELECT farm, cow, foot, claw, lesion, COUNT(*) AS times, MAX(visit_date) AS last
        FROM ({_episodes(selection, "claw", gap_days)}) AS e
        {_episodes_asked(selection, "e")}
        GROUP BY farm, cow, foot, claw, lesion
        HAVING COUNT(*) >= 2"""


def _last_seen(selection: Selection) -> str:
    """Farm, cow, entered_on, and followed_to: the day she was followed to."""
    seen = trims(Selection(farms=selection.farms, allowed=selection.allowed, visits=("all",), until=selection.until))
    return f"""
        SELECT l.farm, l.cow, c.entered_on, LEAST(l.seen_last, COALESCE(c.left_on, l.seen_last)) AS followed_to
        FROM (
            SELECT farm, cow, MAX(visit_date) AS seen_last
            FROM ({seen}) AS seen
            GROUP BY farm, cow
        ) AS l
        LEFT JOIN cows AS c ON l.farm = c.farm AND l.cow = c.cow"""
