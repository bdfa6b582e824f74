"""The pages, in the order of the navigation."""

from dashboard.page import Page
from dashboard.pages import comparison, cow, herd, imports, lesions, locomotion
from dashboard.panel import Panel

PAGES: dict[str, Page] = {
    page.path: page for page in (herd.PAGE, lesions.PAGE, locomotion.PAGE, comparison.PAGE, cow.PAGE, imports.PAGE)
}
PANELS: dict[str, Panel] = {panel.name: panel for page in PAGES.values() for panel in page.panels}
