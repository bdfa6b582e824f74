"""The reader's own guess of how many cows are lame: asked once a visit before the figure, shown beside it afterwards.

Guesses stay in the reader's browser. Farmers see fewer lame cows than a scorer does: in three regions of Germany 45, 24
and 30 of 100 on average, as the mean of each farm's ratio of guess to finding (2022, Front Vet Sci 9:866791).
"""

from __future__ import annotations

from typing import Any

import pandas as pd
from dash import Dash, Input, Output, State, dcc, html

from evenfoot.analytics.ledger import Ledger
from evenfoot.dashboard.i18n.translation import _


def with_guess(figure: list[Any], row: dict[str, Any], farm: str) -> html.Div:
    """The figure of lameness, and the question that stands in its place until it is answered or skipped.

    Parameters
    ----------
    figure : list
        What is said of lameness.
    row : dict
        The row ``lame`` of the summary.
    farm : str
    """
    found = round(100 * row["now_cases"] / row["now_at_risk"])
    asked = {
        "farm": farm,
        "visit": pd.Timestamp(row["last"]).date().isoformat(),
        "found": found,
        # The browser fills in the guess.
        "said": _("You said {guess} of 100; it was {found}.", guess="{guess}", found=found),
    }
    question = html.Div(
        [
            html.Label(_("Of 100 cows, how many are lame?"), htmlFor="guess"),
            dcc.Input(id="guess", type="text", inputMode="numeric", maxLength=3, autoComplete="off", className="find"),
            html.Button(_("Compare"), id="guess-tell", className="take"),
            html.Button(_("Skip"), id="guess-skip", className="take"),
            html.Button(_("Never ask"), id="guess-stop", className="take"),
        ],
        className="question-of-guess",
        role="group",
        **{"aria-label": _("Your guess, before the figure")},
    )
    said = html.Small(id="guess-said", **{"aria-live": "polite"})
    found_line = html.Div([*figure, " ", said], className="found")
    # What the browser keeps says whether question or figure is shown; until then neither.
    return html.Div(
        [dcc.Store(id="guess-asked", data=asked), question, found_line], id="guess-line", className="guess waits"
    )


def ask_again() -> html.Button:
    """Begins to ask again; shown only to who has said never."""
    return html.Button(_("Ask for my guess of lame cows again"), id="guess-again", className="take", hidden=True)


def over_farms() -> list[Any]:
    """What the guesses on several farms come to; the browser knows them."""
    said = _(
        "On {n} farms you guessed {share} lame cows for every 100 found (mean of each farm's ratio, newest guesses).",
        n="{n}",
        share="{share}",
    )
    return [dcc.Store(id="guess-words", data=said), html.P(id="guess-farms", className="basis")]


def register(app: Dash, _ledger: Ledger) -> None:
    """The browser's callbacks: they read and write what it keeps."""
    # When data is kept for the next visit, its time is the input, as the documentation of dcc.Store says.
    kept = (Input("guesses", "modified_timestamp"), State("guesses", "data"))
    app.clientside_callback(
        "window.dash_clientside.evenfoot.showGuess",
        Output("guess-line", "className"),
        Output("guess-said", "children"),
        Input("guess-asked", "data"),
        *kept,
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.keepGuess",
        Output("guesses", "data"),
        Input("guess-tell", "n_clicks"),
        Input("guess", "n_submit"),
        Input("guess-skip", "n_clicks"),
        Input("guess-stop", "n_clicks"),
        State("guess", "value"),
        State("guess-asked", "data"),
        State("guesses", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.askAgain",
        Output("guesses", "data", allow_duplicate=True),
        Input("guess-again", "n_clicks"),
        State("guesses", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.isAsking", Output("guess-again", "hidden"), Input("guess-again", "id"), *kept
    )
    app.clientside_callback(
        "window.dash_clientside.evenfoot.guessedOverFarms",
        Output("guess-farms", "children"),
        Input("guess-words", "data"),
        *kept,
    )
