"""Evenfoot in Python: ``evenfoot.open(path)`` gives the herds of a ledger, and each measure as a method."""

from __future__ import annotations

import importlib
import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import pandas as pd

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import open_ledger
from evenfoot.analytics.measures.answer import Answer, Basis
from evenfoot.analytics.measures.catalogue import MEASURES
from evenfoot.analytics.messages import say
from evenfoot.dashboard.ui.tables import basis_sentences, work_out

if TYPE_CHECKING:
    import plotly.graph_objects as go

CHARTS: Mapping[str, tuple[str, str]] = {
    "prevalence": ("prevalence", "prevalence"),
    "comparison": ("comparison", "risks"),
    "locomotion": ("locomotion", "locomotion"),
    "season": ("season", "season"),
    "incidence": ("incidence", "incidence"),
    "recurrence": ("survival", "back_within"),
    "control-chart": ("control", "control"),
    "rolling": ("rolling", "rolling"),
    "years": ("years", "years"),
    "benchmark": ("funnel", "funnel"),
}
"""Measure -> module and function of its chart in :mod:`evenfoot.dashboard.charts`."""


@dataclass(frozen=True)
class Result:
    """What a measure found.

    Attributes
    ----------
    answer : Answer
        All of it, with side tables in ``extra``.
    """

    answer: Answer

    @property
    def table(self) -> pd.DataFrame:
        """One row an estimate; proportions between 0 and 1."""
        return self.answer.table

    @property
    def basis(self) -> Basis:
        """What it rests on: farms, visits, cows, dates, unit, method, what was left out."""
        return self.answer.basis

    @property
    def cautions(self) -> list[str]:
        """Sentences on what to be careful about."""
        return [str(caution) for caution in self.answer.cautions]

    def plot(self, title: str | None = None, *, theme: str = "paper", narrow: bool = False) -> go.Figure:
        """The chart that the dashboard draws of it.

        Parameters
        ----------
        title : str, optional
        theme : {"paper", "night", "contrast"}
        narrow : bool
            Whether it has to fit a telephone.

        Raises
        ------
        UserError
            The measure has no chart.
        """
        import plotly.graph_objects as go

        if self.answer.name not in CHARTS:
            raise UserError(
                say(
                    "The measure '{name}' has no chart; use its table. These have one: {listed}.",
                    name=self.answer.name,
                    listed=", ".join(CHARTS),
                )
            )
        module, function = CHARTS[self.answer.name]
        draw = getattr(importlib.import_module(f"evenfoot.dashboard.charts.{module}"), function)
        figure = draw(self.answer, theme=theme, narrow=narrow, title=title)
        return go.Figure({"data": figure.data, "layout": figure.layout})

    def __str__(self) -> str:
        lines = [
            self.table.to_string(index=False, na_rep="-") if len(self.table) else "No rows.",
            *basis_sentences(self.answer),
        ]
        return "\n".join([*lines, *self.cautions])


class Herds:
    """The herds of a ledger. Every measure is a method: ``herds.prevalence(by="housing")``.

    Parameters
    ----------
    address : str or path, optional
        A ledger's file or address; the usual one without it.
    """

    def __init__(self, address: str | os.PathLike[str] | None = None) -> None:
        self.ledger = open_ledger(None if address is None else os.fspath(address))

    @property
    def farms(self) -> list[str]:
        """Names of the farms."""
        return list(self.ledger.farms())

    def ask(
        self,
        measure: str,
        *,
        farm: str | Sequence[str] = (),
        since: str | None = None,
        until: str | None = None,
        visits: str = "whole-herd",
        lesion: str | Sequence[str] = (),
        hemisphere: str = "north",
        **options: Any,
    ) -> Result:
        """Work out a measure.

        Parameters
        ----------
        measure : str
            As ``evenfoot table`` calls it, such as ``"change-impact"``.
        farm, lesion : str or sequence of str
            One or several; all without it.
        since, until : str, optional
            Days such as ``"2026-01-31"``.
        visits : str
            ``whole-herd``, ``part-herd``, ``lame-cow``, ``recheck`` or ``all``; several with commas between.
        hemisphere : {"north", "south"}
            Whose seasons.
        **options
            The measure's own, as ``evenfoot table`` takes them, with ``_`` for ``-``: ``by="housing,floor"``,
            ``reference="pasture"``. Lists may be written as lists.

        Raises
        ------
        UserError
            There is no such measure, farm, lesion or option, or it cannot be read.
        """
        written = {name: _with_commas(value) for name, value in options.items()}
        return Result(
            work_out(
                measure, self.ledger, farms=_several(farm), since=since, until=until, visits=visits,
                lesions=_several(lesion), hemisphere=hemisphere, options=written,
            )
        )  # fmt: skip

    def __getattr__(self, name: str) -> Callable[..., Result]:
        measure = name.replace("_", "-")
        if measure not in MEASURES:
            raise AttributeError(f"There is no measure '{measure}'; use one of {', '.join(MEASURES)}.")

        def method(**words: Any) -> Result:
            return self.ask(measure, **words)

        method.__name__, method.__doc__ = name, MEASURES[measure].question
        return method

    def __dir__(self) -> list[str]:
        return sorted({*super().__dir__(), *(name.replace("-", "_") for name in MEASURES)})


def _several(said: str | Sequence[str]) -> Sequence[str]:
    return [said] if isinstance(said, str) else said


def _with_commas(value: Any) -> Any:
    return ",".join(map(str, value)) if isinstance(value, (list, tuple)) else value
