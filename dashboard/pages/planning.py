"""Planning: what lesions cost, whether they run in families, and how many cows a change needs to be seen."""

from __future__ import annotations

from typing import Any

import dash_mantine_components as dmc
from dash import html

from evenfoot.analytics.domain.lesions import PARENTS
from evenfoot.analytics.domain.published_figures import figures_for
from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lesions.cost import cost
from evenfoot.analytics.measures.lesions.family import family
from evenfoot.analytics.measures.planning.sample_size import how_many
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import findings
from evenfoot.dashboard.charts.columns import OF_COST, OF_WEIGHT, shown
from evenfoot.dashboard.charts.cost import cost as drawn_cost
from evenfoot.dashboard.charts.cost import money
from evenfoot.dashboard.charts.describe_more import describe
from evenfoot.dashboard.charts.family import family as drawn_family
from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.charts.planning import planning
from evenfoot.dashboard.charts.theme import between
from evenfoot.dashboard.i18n.translation import _, _n
from evenfoot.dashboard.pages.lesions import CLEARED, lesion_name
from evenfoot.dashboard.pages.warning import lesion_choice
from evenfoot.dashboard.ui.page import Page
from evenfoot.dashboard.ui.panel import FITTING, Drawn, Panel, mark
from evenfoot.dashboard.ui.view import View

HIGHEST_COST = 1e6
"""Of one case, in any currency. [common practice, no source]"""


def prices(view: View) -> dict[str, float]:
    """The user's own costs of a case by lesion, from the address.

    Raises
    ------
    UserError
        A cost in the address is no amount.
    """
    out: dict[str, float] = {}
    for code in PARENTS:
        text = view.options.get(f"price_{code}")
        if text is None:
            continue
        try:
            out[code] = float(text)
            if not 0 <= out[code] <= HIGHEST_COST:
                raise ValueError
        except ValueError:
            raise UserError(
                say(
                    "The cost '{text}' of {lesion} cannot be read; write an amount such as 250.",
                    text=text,
                    lesion=lesion_name(code),
                )
            ) from None
    return out


def _cost(ledger: Ledger, view: View) -> Drawn:
    own = prices(view)
    selection = view.selection.with_(**CLEARED)
    answer = cost(ledger, selection, price=own or None, currency=view.options.get("currency") if own else None)

    def to(row: dict[str, Any]) -> str:
        return view.open("/lesions", **{**CLEARED, "lesions": (row["lesion"],)})

    lead = []
    total = answer.extra.get("total")
    if total is not None and len(total) and total["cost"].notna().any():
        row = total.to_dict("records")[0]
        lead.append(
            html.P(
                _n(
                    "Together about {sum} in the period ({interval}), for {n} new case of lesions with a cost.",
                    "Together about {sum} in the period ({interval}), for {n} new cases of lesions with a cost.",
                    int(row["cases"]),
                    sum=money(row["cost"], str(row["currency"])),
                    interval=between(money(row["low"]), money(row["high"])),
                ),
                className="lead",
            )
        )
    figure = drawn_cost(answer, **view.look, drill=lambda row: mark(to(row)))
    return Drawn(
        figure, shown(answer, OF_COST), describe("cost", answer), to, lead=lead, finding=findings.dearest(answer)
    )


def _family(ledger: Ledger, view: View) -> Drawn:
    answer = family(ledger, view.selection)

    def to(row: dict[str, Any]) -> str:
        return view.open("/lesions", sires=(row["sire"],))

    figure = drawn_family(answer, **view.look, drill=lambda row: mark(to(row)))
    finding = findings.most_daughters(answer)
    return Drawn(figure, shown(answer, OF_WEIGHT), describe("family", answer), to, finding=finding)


def _how_many(ledger: Ledger, view: View) -> Drawn:
    answer = how_many(ledger, view.selection)
    finding = findings.cows_needed(answer)
    return Drawn(planning(answer, **view.look), answer, describe("planning", answer), finding=finding)


def _boxes(view: View) -> Any:
    """One box a lesion; the published figure stands in those that are empty."""
    published = {figure.lesion: figure for figure in figures_for(measure="cost") if figure.lesion}
    boxes = [
        dmc.NumberInput(
            label=value_label("lesion", code),
            id={"type": "choice", "field": f"price_{code}"},
            value=view.options.get(f"price_{code}", ""),
            placeholder=_("{value:g} published", value=published[code].value) if code in published else _("no figure"),
            min=0,
            decimalScale=2,
            hideControls=True,
            debounce=True,
        )
        for code in sorted(PARENTS, key=lambda code: (code not in published, value_label("lesion", code)))
    ]
    currency = dmc.TextInput(
        label=_("Currency and year"),
        id={"type": "choice", "field": "currency"},
        value=view.options.get("currency", ""),
        placeholder=_("such as EUR 2026"),
        debounce=True,
    )
    return html.Details(
        [
            html.Summary(_("Your own costs of a case")),
            html.P(
                _(
                    "Without any amount here the published costs are used, of other people's herds; with any, only "
                    "yours. "
                    "Lesions without an amount are listed without a cost."
                )
            ),
            html.Div([currency, *boxes], className="choices"),
        ],
        className="fold",
        open=any(key.startswith("price_") for key in view.options),
    )


def _choices(ledger: Ledger, view: View) -> Any:
    return html.Div(
        [
            html.Div(
                [lesion_choice(view, _("Lesions for families and numbers of cows"), _("Any lesion"))],
                className="choices",
            ),
            _boxes(view),
        ]
    )


PAGE = Page(
    path="/planning",
    title="Costs",
    group="more",
    question="What do lesions cost, do they run in families, and how many cows must be looked at to see a change?",
    choices=_choices,
    panels=(
        Panel(
            "planning-cost",
            "What lesions cost",
            _cost,
            "New cases in the period times the cost of a case. Costs are somebody's assumptions, not this herd's "
            "books; the interval takes in the luck of how many cases come up and, for published costs, how unsure "
            "they are.",
            wide=True,
        ),
        Panel(
            "planning-how-many",
            "How many cows for which difference",
            _how_many,
            "Number to look at before and after, to see a change of that size four times in five, with this herd's "
            "own share and with cows that are alike counted as such.",
            wide=True,
        ),
        Panel(
            "planning-family",
            "Daughters of each sire",
            _family,
            "Share of a sire's daughters with a lesion, farm, lactation and number of trims held alike, drawn towards "
            "the mean of all sires. It is no breeding value.",
            wide=True,
            busy=FITTING,
        ),
    ),
)
