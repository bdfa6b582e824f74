"""The pages, in the order of the navigation."""

from evenfoot.dashboard.pages import (
    change,
    comparison,
    corrections,
    cow,
    farms,
    followup,
    herd,
    horn,
    imports,
    lesions,
    locomotion,
    plan,
    planning,
    records,
    report,
    start,
    today,
    typed,
    warning,
    worklist,
)
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import Panel

PAGES: dict[str, Page] = {
    page.path: page
    for page in (
        start.PAGE,
        today.PAGE,
        herd.PAGE,
        lesions.PAGE,
        lesions.OVER_TIME,
        locomotion.PAGE,
        warning.PAGE,
        followup.PAGE,
        horn.PAGE,
        horn.SHEDDING,
        comparison.PAGE,
        change.PAGE,
        farms.PAGE,
        worklist.PAGE,
        plan.PAGE,
        report.PAGE,
        records.PAGE,
        records.RECORDERS,
        planning.PAGE,
        corrections.PAGE,
        imports.PAGE,
        typed.PAGE,
        cow.PAGE,
    )
}
PANELS: dict[str, Panel] = {panel.name: panel for page in PAGES.values() for panel in page.panels}
