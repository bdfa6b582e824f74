"""What is on screen is a function of the address: this reads it and writes it."""

from __future__ import annotations

import dataclasses
import functools
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import parse_qsl, quote_plus, urlencode

from evenfoot.analytics.domain.lesions import PARENTS
from evenfoot.analytics.queries.bounds import bounded_address, bounded_values
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.i18n.translation import words

PRICES = tuple(f"price_{code}" for code in PARENTS)
"""What a case of a lesion costs, by the lesion's code."""

OPTIONS = (
    "by", "per", "reference", "adjust", "stratify", "cow", "theme", "change", "against", "baseline", "level_of",
    "currency", "measure", "on", "cows_a_day", "weekends", "day_off", "day", "paper", "span", "window", "shade",
    "split", "brought", *PRICES,
    "language", "units", "dates", "week", "rows", "sort", "curve", "each", "certainty",
    "tour",
)  # fmt: skip
"""Choices of a page that do not narrow the records, with the selection in the same address."""

_CHOSEN = frozenset(each.name for each in dataclasses.fields(Selection))

SEVERAL = ("adjust", "day_off")
"""Options that may stand in the address more than once."""

KEPT = (
    "farms", "since", "until", "visits", "hemisphere", "on", "theme", "language", "units", "dates", "week", "certainty",
    "tour",
    "paper",
)  # fmt: skip
"""What stays chosen when one goes to another page from the navigation."""


@dataclass(frozen=True)
class View:
    """A page's path, the selection and the page's own options.

    Parameters
    ----------
    path : str
    selection : Selection
    options : dict of str to str
    narrow : bool
        Whether the window is a phone's; never part of the address.
    whole : Selection, optional
        The selection of the page, where ``selection`` is that of a panel which follows a choice on another;
        addresses are made from it.
    """

    path: str
    selection: Selection
    options: dict[str, str] = field(default_factory=dict)
    narrow: bool = False
    whole: Selection | None = None

    @classmethod
    def read(cls, path: str, search: str, allowed: tuple[str, ...] | None = None, narrow: bool = False) -> View:
        """Read the address.

        Raises
        ------
        UserError
            Something in the address cannot be read.
        """
        said = parse_qsl(bounded_address(search or "").lstrip("?"))
        pairs = dict(said)
        options = {key: bounded_values([pairs[key]], key)[0] for key in OPTIONS if key in pairs}
        for name in SEVERAL:
            several = [value for key, value in said if key == name]
            if several:
                options[name] = ",".join(bounded_values(several, name))
        selection = Selection.from_query(search or "", allowed)
        if not pairs:
            selection = selection.with_(hemisphere=words().hemisphere)
        return cls(path or "/", selection, options, narrow)

    def option(self, name: str, default: str) -> str:
        return self.options.get(name, default)

    def several(self, name: str) -> tuple[str, ...]:
        """An option that may hold more than one word."""
        return tuple(word for word in self.options.get(name, "").split(",") if word)

    @property
    def theme(self) -> str:
        """The theme chosen, paper where it is none we know."""
        chosen = self.options.get("theme", "paper")
        return chosen if chosen in ("paper", "night", "contrast") else "paper"

    @property
    def look(self) -> dict[str, Any]:
        """What every chart on a page is drawn with; the page says title and basis itself."""
        return {"theme": self.theme, "narrow": self.narrow, "title": ""}

    @property
    def farm(self) -> str | None:
        """The farm, where exactly one is chosen."""
        return self.selection.farms[0] if len(self.selection.farms) == 1 else None

    def changed(self, **changes: Any) -> View:
        """A copy with some of the selection or options changed; ``None`` takes an option away."""
        selection = (self.whole or self.selection).with_(**{k: v for k, v in changes.items() if k in _CHOSEN})
        options = dict(self.options)
        for key, value in changes.items():
            if key in OPTIONS:
                if value is None:
                    options.pop(key, None)
                else:
                    options[key] = str(value)
        return View(str(changes.get("path", self.path)), selection, options, self.narrow)

    def to_cows(self) -> Callable[[dict[str, Any]], str]:
        """For a row with a farm and a cow the address of the cow's page; a list has a thousand of them."""

        @functools.cache
        def of_farm(farm: str) -> str:
            return self.changed(path="/cow", farms=(farm,), cow=None).href

        return lambda row: f"{of_farm(row['farm'])}&cow={quote_plus(row['cow'])}"

    def narrowed(self, **changes: Any) -> View:
        """The view as a panel sees it that follows a choice on another; its addresses stay those of the page."""
        return dataclasses.replace(self, selection=self.selection.with_(**changes), whole=self.whole or self.selection)

    def open(self, path: str, **changes: Any) -> str:
        """The address of another page about the same records or fewer, the options of this one left behind."""
        options = {name: value for name, value in self.options.items() if name in KEPT}
        selection = self.selection.with_(**{k: v for k, v in changes.items() if k in _CHOSEN})
        return View(path, selection, options).changed(**{k: v for k, v in changes.items() if k in OPTIONS}).href

    @property
    def search(self) -> str:
        """The query string, beginning with ``?`` unless empty."""
        parts = [
            (self.whole or self.selection).to_query(),
            urlencode([(k, self.options[k]) for k in OPTIONS if k in self.options]),
        ]
        text = "&".join(part for part in parts if part)
        return f"?{text}" if text else ""

    @property
    def href(self) -> str:
        return self.path + self.search

    def to(self, path: str) -> str:
        """The address of another page with farm and period kept and the drill left behind."""
        whole = self.whole or self.selection
        kept = {name: getattr(whole, name) for name in KEPT if hasattr(whole, name)}
        options = {name: value for name, value in self.options.items() if name in KEPT}
        return View(path, Selection(**kept), options).href
