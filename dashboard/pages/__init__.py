"""The pages, in the order of the navigation."""

from evenfoot.dashboard.page import Page
from evenfoot.dashboard.pages import (
    change,
    comparison,
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
    warning,
    worklist,
)
from evenfoot.dashboard.panel import Panel

PAGES: dict[str, Page] = {
    module.PAGE.path: module.PAGE
    for module in (
        herd,
        lesions,
        locomotion,
        warning,
        comparison,
        change,
        followup,
        horn,
        worklist,
        plan,
        farms,
        planning,
        records,
        report,
        cow,
        imports,
    )
}
PANELS: dict[str, Panel] = {panel.name: panel for page in PAGES.values() for panel in page.panels}
