"""A tour of the demo herds in six steps, one for each of three people; its step is in the address."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dash import Output, html

from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.messages import Message, say
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.i18n.translation import _, told
from evenfoot.dashboard.pages.imports_demo import demo_imports
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.shell import STARTS
from evenfoot.dashboard.ui.view import View


@dataclass(frozen=True)
class Step:
    """One step: the page and farm it leads to, without a farm all of them, and what is to be seen there."""

    path: str
    farm: str
    said: Message
    by: str = ""


TOURS: dict[str, tuple[Message, tuple[Step, ...]]] = {
    "manager": (
        say("herd manager"),
        (
            Step(
                "/today",
                "Larkmoor",
                say("Four answers come first: lameness, the biggest problem, the last change, and cows to see."),
            ),
            Step(
                "/herd",
                "Osier End",
                say("Each verdict is against the herd's own past, and says how many cows it rests on."),
            ),
            Step(
                "/lesions", "Larkmoor", say("Choose a bar, a claw or a zone to see which cows have the lesion there.")
            ),
            Step(
                "/worklist",
                "Larkmoor",
                say("The list says which cows to see first, and why; a cow's number opens her page."),
            ),
            Step("/change", "Larkmoor", say("A change on the farm is held against how the herd would have gone on.")),
            Step(
                "/report",
                "Larkmoor",
                say("The report is what to talk over with your trimmer and your veterinarian."),
            ),
        ),
    ),
    "trimmer": (
        say("trimmer"),
        (
            Step(
                "/", "", say("All your farms stand here: which is worse, which cows need someone, and when to go next.")
            ),
            Step(
                "/plan", "", say("The plan proposes days for your visits; take it along as a list or into a calendar.")
            ),
            Step(
                "/worklist",
                "Withy Flat",
                say("Before a visit, see which cows wait for a recheck or have a block to come off."),
            ),
            Step("/horn", "Withy Flat", say("Toes grow: this says how fast, and what your trims left.")),
            Step("/import", "", say("Drop a sheet here in whatever layout you keep it; what is not clear is asked.")),
            Step("/report", "Withy Flat", say("Leave the report with the farmer: on paper, as a file, or by mail.")),
        ),
    ),
    "veterinarian": (
        say("veterinarian"),
        (
            Step("/farms", "", say("Farms are compared so that luck alone makes none look bad.")),
            Step(
                "/warning", "Osier End", say("A month unlike those before stands out here, more than chance explains.")
            ),
            Step(
                "/comparison",
                "",
                say("Housings are compared within farms where that can be done, with how sure it is."),
                by="housing",
            ),
            Step(
                "/lesions-over-time",
                "Long Heath",
                say("Lesions have a season; compare with the same months of other years."),
            ),
            Step(
                "/followup", "Larkmoor", say("Cases that keep coming back are for you to look at; these are the cows.")
            ),
            Step("/records", "", say("Before you rely on a figure, see what it rests on and what is missing.")),
        ),
    ),
}
"""Who it is for -> what she is called, and her steps."""


OUTPUTS = (
    Output("tours", "children"),
    Output("tour", "hidden"),
    Output("tour-said", "children"),
    Output("tour-next", "href"),
    Output("tour-next", "children"),
    Output("tour-back", "href"),
    Output("tour-back", "hidden"),
)
"""What :func:`tour_parts` fills. The links themselves stay, so that the keyboard's focus stays on them."""

NOWHERE = (None, True, None, "/", "", "/", True)


def tour_parts(ledger: Ledger, view: View, pages: dict[str, Page]) -> tuple[Any, ...]:
    """The step that the address says, or on a first page the tours there are; nothing where no demo herds are."""
    asked = view.option("tour", "")
    if not (asked or view.path in STARTS) or not _whole_demo(ledger, view):
        return NOWHERE
    who, _dash, number = asked.rpartition("-")
    if who in TOURS and number in {str(n + 1) for n in range(len(TOURS[who][1]))}:
        return _step(view, pages, who, int(number))
    return (_offer(view) if view.path in STARTS else None, *NOWHERE[1:])


def _whole_demo(ledger: Ledger, view: View) -> bool:
    wanted = {step.farm for _name, steps in TOURS.values() for step in steps if step.farm}
    return wanted <= set(ledger.farms(view.selection.allowed)) and bool(demo_imports(ledger))


def _offer(view: View) -> html.P:
    links: list[Any] = []
    for who, (name, _steps) in TOURS.items():
        links += [" ", html.A(told(name), href=_to(view, who, 1), className="take")]
    return html.P([_("These herds are invented. See in six steps what is here for a:"), *links], className="offer")


def _step(view: View, pages: dict[str, Page], who: str, number: int) -> tuple[Any, ...]:
    name, steps = TOURS[who]
    step = steps[number - 1]
    page = told(pages[step.path].title)
    said = [
        html.Small(_("Tour for a {who}, {n} of {all}", who=told(name), n=number, all=len(steps))),
        " ",
        html.A(_("{farm}: {page}", farm=step.farm, page=page) if step.farm else page, href=_to(view, who, number)),
        html.Br(),
        told(step.said),
    ]
    leave, last = view.changed(tour=None).href, number == len(steps)
    following, word = (leave, _("End the tour")) if last else (_to(view, who, number + 1), _("Next"))
    return None, False, said, following, word, _to(view, who, max(1, number - 1)), number == 1


def _to(view: View, who: str, number: int) -> str:
    """The address of a step, the period kept and everything else that narrows the records left behind."""
    step = TOURS[who][1][number - 1]
    kept = {name: getattr(view.selection, name) for name in ("since", "until", "hemisphere", "allowed")}
    farms = (step.farm,) if step.farm else ()
    options = {"tour": f"{who}-{number}"} | ({"by": step.by} if step.by else {})
    return View(step.path, Selection(**kept), view.options).open(step.path, farms=farms, **options)
