"""What a page is: a path, a heading, and panels that are each filled on their own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from dash import Dash

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.ui.panel import Panel
from evenfoot.dashboard.ui.view import View


@dataclass(frozen=True)
class Page:
    """One page of the dashboard.

    Parameters
    ----------
    path, title : str
        Address and name in the navigation; a page without a title is reached by drilling only.
    question : str
        What the page answers, under its heading.
    panels : tuple of Panel
    choices : callable, optional
        The page's own controls, as components; worked out from the ledger and view.
    trail : callable, optional
        Steps drilled so far, outermost first, as (words, address) pairs.
    extra : callable, optional
        Components that are not panels, such as an upload area.
    register : callable, optional
        Registers the callbacks of a page that does more than show panels.
    group : str
        Where in the navigation it stands, a key of :data:`evenfoot.dashboard.ui.shell.GROUPS`. A page without is
        reached by its links only.
    spoken : bool
        Whether the question is for a reader of the screen only, because the page speaks for itself.
    act : str
        What somebody must be allowed to do to open it; see :data:`evenfoot.dashboard.auth.roles.MAY`.
    """

    path: str
    title: str
    question: str
    panels: tuple[Panel, ...] = ()
    choices: Callable[[Ledger, View], Any] | None = None
    trail: Callable[[View], list[tuple[str, str]]] | None = None
    extra: Callable[[], list[Any]] | None = None
    register: Callable[[Dash, Ledger], None] | None = None
    group: str = ""
    act: str = "read"
    spoken: bool = False
