"""How the records were kept: which fields are filled, which figures were written, which visits found what."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from evenfoot.analytics.domain.lesions import LESIONS, NO_CASE_STAGE
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.queries.engine import Question, built_once, fetch_many, question_of
from evenfoot.analytics.queries.filters import NOT_RECORDED, of_farm_and_period
from evenfoot.analytics.queries.lazy_import import ibis
from evenfoot.analytics.queries.selection import Selection

if TYPE_CHECKING:
    import ibis.expr.types as ir

OF_VISIT = ("trimmer", "visit_kind", "herd_size")
OF_COW_DAY = ("group", "housing", "floor", "parity", "calving_date", "breed", "sire")
OF_LESION = ("foot", "claw", "zone", "severity", "action")
"""What can be left blank, by what it belongs to: the visit, the cow on the day (from whichever sheet says so), a
lesion."""

FAIR_VISITS = ("whole-herd", "scoring")
"""Scores are held against each other only where the whole herd was scored: at lame-cow calls most cows are lame."""

LENGTHS = ("toe_length_mm", "toe_length_after_mm", "sole_thickness_mm", "heel_depth_mm", "toe_angle_deg")
NOT_ON_A_CLAW = tuple(code for code, lesion in LESIONS.items() if lesion.site != "claw")
"""Lesions of the skin or the leg do not lie on one claw: a blank claw is right there."""


def record_keeping(ledger: Ledger, selection: Selection) -> dict[str, pd.DataFrame]:
    """What the checks of the records need, each a small frame.

    Every kind of visit counts, and only farms, dates and cows of the selection are applied: this is about the
    sheets, not the herd.

    Returns
    -------
    dict of str to pandas.DataFrame
        ``cow_days``, ``lesions``: who (the trimmer), month, n and the number filled of each field (``claw`` and
        ``dd_stage`` out of ``claw_n`` and ``dd_stage_n``). ``scores``: farm, scorer, scale, score, n.
        ``digits``: who, field, value, n (readings of that value). ``visits``: farm, who, kind, visit_date, cows,
        found (cows with a finding), doubted (1 where the sheet calls the visit whole-herd and is not believed).
        ``mix``: farm, who, quarter, lesion, n (findings). ``falls``: farm, cow, visit_date, parity, before; one row a
        visit at which a cow's lactation is lower than at the one before.
    """
    plain = Selection(
        farms=selection.farms,
        since=selection.since,
        until=selection.until,
        cows=selection.cows,
        trimmers=selection.trimmers,
        visits=("all",),
        allowed=selection.allowed,
    )
    return fetch_many(ledger, _questions(plain))


@built_once
def _questions(selection: Selection) -> dict[str, Question]:
    rows = of_farm_and_period("trim_rows", selection)
    rows = rows.mutate(
        who=rows.trimmer.fill_null(NOT_RECORDED),
        month=rows.visit_date.truncate("M"),
        found=(rows.lesion.notnull() & (rows.dd_stage.fill_null("") != NO_CASE_STAGE)).fill_null(False).cast("int64"),
    )
    trims = of_farm_and_period("trims", selection)
    trims = trims.filter(trims.kind_from.fill_null("unknown") != "unlisted")
    trims = trims.mutate(who=trims.trimmer.fill_null(NOT_RECORDED), month=trims.visit_date.truncate("M"))
    said = {name: trims[name].notnull() for name in (*OF_VISIT, *OF_COW_DAY)}
    said["visit_kind"] = trims.kind_from.fill_null("unknown").isin(["stated", "contradicted"])
    cow_days = trims.group_by(["who", "month"]).agg(
        n=trims.count(), **{name: value.cast("int64").sum() for name, value in said.items()}
    )
    cases = rows.filter(rows.lesion.notnull())
    on_claw = ~cases.lesion.isin(NOT_ON_A_CLAW)
    is_dd = cases.lesion == "DD"
    lesions = cases.group_by(["who", "month"]).agg(
        n=cases.count(),
        **{name: cases[name].notnull().cast("int64").sum() for name in OF_LESION if name != "claw"},
        claw=(cases.claw.notnull() & on_claw).cast("int64").sum(),
        claw_n=on_claw.cast("int64").sum(),
        dd_stage=(cases.dd_stage.notnull() & is_dd).cast("int64").sum(),
        dd_stage_n=is_dd.cast("int64").sum(),
    )
    scores = of_farm_and_period("scores", selection)
    scores = scores.filter(scores.visit_kind.fill_null("unknown").isin(FAIR_VISITS))
    scored = scores.group_by(["farm", "scale", "score"], scorer=scores.scorer.fill_null(NOT_RECORDED)).agg(
        n=scores.count()
    )
    days = rows.group_by(["who", "farm", "cow", "visit_date"]).agg(found=rows.found.max())
    visits = days.group_by(["farm", "who", "visit_date"]).agg(cows=days.count(), found=days.found.sum())
    doubted = (trims.kind_from == "contradicted").fill_null(False).cast("int64")
    kinds = trims.group_by(["farm", "visit_date"]).agg(
        kind=trims.visit_kind.fill_null("unknown").min(), doubted=doubted.max()
    )
    visits = visits.join(kinds, ["farm", "visit_date"])
    found = rows.filter(rows.found == 1)
    mix = found.group_by(["farm", "who", "lesion"], quarter=found.visit_date.truncate("Q")).agg(n=found.count())
    of_parity = trims.filter(trims.parity.notnull())
    of_cow = ibis.window(group_by=["farm", "cow"], order_by="visit_date")
    of_parity = of_parity.select("farm", "cow", "visit_date", "parity", before=of_parity.parity.lag().over(of_cow))
    falls = of_parity.filter(of_parity.parity < of_parity.before)
    return {
        "cow_days": question_of(cow_days),
        "lesions": question_of(lesions),
        "scores": question_of(scored),
        "digits": question_of(_readings(rows)),
        "visits": question_of(visits),
        "mix": question_of(mix),
        "falls": question_of(falls),
    }


def _readings(rows: ir.Table) -> ir.Table:
    branches = []
    for name in LENGTHS:
        read = rows.filter(rows[name].notnull())
        branches.append(read.group_by("who", value=read[name]).agg(n=read.count()).mutate(field=ibis.literal(name)))
    return ibis.union(*branches)
