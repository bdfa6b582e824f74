"""Colours, type and numbers: what every chart and page has in common.

The grounds are a calm paper white and a dark one, with a third of high contrast. There is one accent.
Groups take the colour-blind-safe palette of Okabe and Ito together with a dash and a marker of their own,
so that no difference rests on colour alone. Prevalence is on cividis, which stays in order in grey print.

References
----------
Okabe M, Ito K (2008) Color Universal Design: how to make figures and presentations that are friendly to
colorblind people. Nunez JR, Anderton CR, Renslow RS (2018) PLoS ONE 13(7):e0199239 (cividis).
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from functools import cache

from plotly.colors import get_colorscale

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.dashboard.charts import plain
from evenfoot.dashboard.i18n.translation import _, words

EN_DASH = "\u2013"
MINUS = "\u2212"

FONT = 'system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans", sans-serif'
"""The reader's own system type: nothing is fetched."""

SCALE_ON_LIGHT = "Cividis_r"
SCALE_ON_DARK = "Cividis"
"""More stands out from the ground: dark on paper, bright at night.
[pub: Schloss et al. 2019, IEEE TVCG 25:810]"""

NIGHT_THEME = "night"
DEFAULT_THEME = "paper"


@dataclass(frozen=True)
class Tokens:
    """The colours of one theme, for plotly and for style sheets alike.

    Attributes
    ----------
    ground, raised : str
        The page and what lies on it.
    ink, muted, rule, faint : str
        Text, second text, lines, and the palest fill.
    accent, on_accent : str
        The one accent, and text on it.
    caution : str
        The edge of a caution; never the only sign of one.
    series : tuple of str
        Group colours, in order.
    """

    ground: str
    raised: str
    ink: str
    muted: str
    rule: str
    faint: str
    accent: str
    on_accent: str
    caution: str
    series: tuple[str, ...]


OKABE_ITO = ("#0072B2", "#D55E00", "#009E73", "#000000", "#CC79A7", "#E69F00", "#56B4E9", "#F0E442")
"""The palette of Okabe and Ito, the strongest on white first. [pub: Okabe & Ito 2008]"""

_ON_DARK = ("#56B4E9", "#E69F00", "#009E73", "#CC79A7", "#F0E442", "#D55E00", "#0072B2", "#FFFFFF")
"""The same palette, the strongest on black first."""

MARKERS = ("circle", "diamond", "square", "triangle-up", "cross", "triangle-down", "star", "x")
DASHES = ("solid", "dash", "dot", "dashdot", "longdash", "longdashdot", "solid", "dash")
"""Each series has colour, marker and dash by its place in the order."""

THEMES: dict[str, Tokens] = {
    "paper": Tokens(
        ground="#FAF8F4",
        raised="#FFFFFF",
        ink="#22272B",
        muted="#545C62",
        rule="#D9D5CC",
        faint="#F1EEE6",
        accent="#7A3E1D",
        on_accent="#FFFFFF",
        caution="#8A5A00",
        series=OKABE_ITO,
    ),
    "night": Tokens(
        ground="#191B1F",
        raised="#22252A",
        ink="#ECEAE4",
        muted="#B0AEA6",
        rule="#3C4047",
        faint="#2A2D33",
        accent="#E0A57E",
        on_accent="#191B1F",
        caution="#E3B45C",
        series=_ON_DARK,
    ),
    "contrast": Tokens(
        ground="#FFFFFF",
        raised="#FFFFFF",
        ink="#000000",
        muted="#000000",
        rule="#595959",
        faint="#F2F2F2",
        accent="#4E2209",
        on_accent="#FFFFFF",
        caution="#000000",
        series=("#00507D", "#9C3A00", "#00614A", "#8A2F63", "#000000", "#6B4A00", "#3D3D3D", "#5B2E91"),
    ),
}


def tokens(theme: str = DEFAULT_THEME) -> Tokens:
    """The colours of a theme.

    Raises
    ------
    UserError
        There is no such theme.

    Examples
    --------
    >>> tokens("night").ground
    '#191B1F'
    """
    if theme not in THEMES:
        raise UserError(say("There is no theme '{theme}'; use one of {known}.", theme=theme, known=", ".join(THEMES)))
    return THEMES[theme]


def css_variables(theme: str = DEFAULT_THEME) -> str:
    """The theme as CSS custom properties, one declaration a token, for a style sheet.

    Examples
    --------
    >>> css_variables("paper").split(";")[0]
    '--ground: #FAF8F4'
    """
    lines = [
        f"--{name.replace('_', '-')}: {value}"
        for name, value in asdict(tokens(theme)).items()
        if isinstance(value, str)
    ]
    lines += [f"--series-{place}: {colour}" for place, colour in enumerate(tokens(theme).series, start=1)]
    return "; ".join([*lines, f"--font: {FONT}"]) + ";"


def scale(theme: str = DEFAULT_THEME) -> str:
    """The name of the colour scale of prevalence in a theme."""
    return SCALE_ON_DARK if theme == NIGHT_THEME else SCALE_ON_LIGHT


def template(theme: str = DEFAULT_THEME) -> plain.Part:
    """The plotly template of a theme, with numbers as the reader writes them."""
    return _template(theme, ",." if words().language == "es" else ".,")


@cache
def _template(theme: str, separators: str) -> plain.Part:
    t = tokens(theme)
    axis = {
        "gridcolor": t.rule,
        "linecolor": t.muted,
        "zerolinecolor": t.rule,
        "zeroline": False,
        "ticks": "outside",
        "ticklen": 4,
        "tickcolor": t.rule,
        "tickfont": {"color": t.muted, "size": 12},
        "title": {"font": {"color": t.muted, "size": 12.5}, "standoff": 10},
        "automargin": True,
    }
    return plain.Part(
        layout={
            "font": {"family": FONT, "size": 13, "color": t.ink},
            "paper_bgcolor": t.raised,
            "plot_bgcolor": t.raised,
            "colorway": list(t.series),
            "colorscale": {"sequential": get_colorscale(scale(theme))},
            "title": {
                "font": {"size": 12.5, "color": t.ink},
                "x": 0,
                "xref": "container",
                "xanchor": "left",
                "yref": "container",
                "y": 1,
                "yanchor": "top",
                "pad": {"l": 14, "t": 18},
            },
            "xaxis": axis,
            "yaxis": axis,
            "legend": {
                "orientation": "h",
                "x": 0,
                "xanchor": "left",
                "yanchor": "bottom",
                "y": 1.0,
                "font": {"size": 12.5, "color": t.ink},
                "itemclick": "toggle",
                "bgcolor": "rgba(0,0,0,0)",
            },
            "hoverlabel": {
                "bgcolor": t.raised,
                "bordercolor": t.accent,
                "font": {"family": FONT, "size": 13, "color": t.ink},
                "align": "left",
                "namelength": 0,
            },
            "hovermode": "closest",
            "dragmode": False,
            "margin": {"l": 14, "r": 18, "t": 60, "b": 44},
            "separators": separators,
        }
    )


def percent(share: float | None, digits: int = 1) -> str:
    """A proportion as a percentage.

    Examples
    --------
    >>> percent(0.0874)
    '8.7%'
    >>> percent(float("nan"))
    'not known'
    """
    if share is None or not math.isfinite(share):
        return _("not known")
    return words().percent(share, digits)


def percent_range(low: float | None, high: float | None, digits: int = 1) -> str:
    """An interval of a proportion.

    Examples
    --------
    >>> percent_range(0.059, 0.128).replace(EN_DASH, "-")
    '5.9-12.8%'
    """
    if low is None or high is None or not (math.isfinite(low) and math.isfinite(high)):
        return _("interval not known")
    return words().interval(low, high, digits)


def points(value: float, digits: int = 1) -> str:
    """A difference of proportions in percentage points with its sign.

    Examples
    --------
    >>> points(0.031), points(0.0, 0)
    ('+3.1', '0')
    """
    text = words().number(100 * value, digits)
    if not float(f"{100 * value:.{digits}f}"):
        return text.removeprefix(MINUS)
    return f"+{text}" if value > 0 else text


def ratio(value: float | None) -> str:
    """A ratio to two or three figures.

    Examples
    --------
    >>> ratio(1.4234), ratio(12.3), ratio(float("inf"))
    ('1.42', '12.3', 'no upper limit')
    """
    if value is None or math.isnan(value):
        return _("not known")
    if math.isinf(value):
        return _("no upper limit")
    return words().number(value, 2 if abs(value) < 10 else 1 if abs(value) < 100 else 0)


def number(value: float | None) -> str:
    """A count or a measurement with commas between thousands.

    Examples
    --------
    >>> number(12345), number(3.456)
    ('12,345', '3.46')
    """
    if value is None or not math.isfinite(value):
        return _("not known")
    if float(value).is_integer():
        return words().number(value)
    return words().number(value, 2).rstrip("0").rstrip(".,")


PLURAL = {
    "cow": "cows",
    "trim": "trims",
    "foot": "feet",
    "claw": "claws",
    "scoring": "scorings",
    "case": "cases",
    "month": "months",
    "visit": "visits",
    "break": "breaks",
    "pair": "pairs",
    "sheet": "sheets",
    "farm": "farms",
    "point": "points",
    "year": "years",
    "record": "records",
    "step": "steps",
}


def plural(unit: str, count: float) -> str:
    """The unit in the number asked for.

    Examples
    --------
    >>> plural("foot", 1), plural("foot", 4)
    ('foot', 'feet')
    """
    return _(unit if count == 1 else PLURAL.get(unit, f"{unit}s"))


def capital(text: str) -> str:
    """With a capital, the rest as it stands.

    Examples
    --------
    >>> capital("left LH claw")
    'Left LH claw'
    """
    return text[:1].upper() + text[1:]


def between(low: str, high: str) -> str:
    """An interval of figures that are written already.

    Examples
    --------
    >>> between(ratio(0.5), ratio(1.25))
    '0.50 to 1.25'
    """
    return _("{low} to {high}", low=low, high=high)


def cases_of(cases: float, at_risk: float, unit: str | None = "cow") -> str:
    """How many of how many; without the unit where there is little room.

    Examples
    --------
    >>> cases_of(12, 263), cases_of(12, 263, None)
    ('12 of 263 cows', '12 of 263')
    """
    if unit is None:
        return _("{n} of {all}", n=number(cases), all=number(at_risk))
    return _("{n} of {all} {units}", n=number(cases), all=number(at_risk), units=plural(unit, at_risk))


def estimate(cases: float, at_risk: float, low: float, high: float, unit: str = "cow") -> str:
    """How many of how many, the share and its interval.

    Examples
    --------
    >>> estimate(23, 263, 0.059, 0.128).replace(EN_DASH, "-")
    '23 of 263 cows, 8.7% (5.9-12.8%)'
    """
    share = cases / at_risk if at_risk else math.nan
    return f"{cases_of(cases, at_risk, unit)}, {percent(share)} ({percent_range(low, high)})"


def rgba(colour: str, alpha: float) -> str:
    """A ``#RRGGBB`` colour with an opacity.

    Examples
    --------
    >>> rgba("#0072B2", 0.2)
    'rgba(0,114,178,0.2)'
    """
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{alpha:g})"
