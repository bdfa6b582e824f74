"""Published figures to hold a herd against. They are other people's herds: context, never a pass mark."""

from __future__ import annotations

from dataclasses import dataclass

from evenfoot.analytics.messages import say

ANY_LESION = "any"


@dataclass(frozen=True)
class Source:
    """Where a figure was published, and what it was found in."""

    name: str
    citation: str
    sample: str


@dataclass(frozen=True)
class PublishedFigure:
    """One published number.

    Attributes
    ----------
    what : str
        In words.
    measure : str
        ``"prevalence"``, ``"herds affected"``, ``"variance between herds"`` (all as a share, 0 to 1) or
        ``"cost"`` (money a case, or a year).
    unit : str
        What it is a share of, or what it is paid for: cow, herd, case, herd and year.
    lesion : str or None
        Code, ``"any"``, or ``None`` where it is of a family or of lameness at large.
    family, housing, visits : str or None
        Narrower, where the source says so.
    value, low, high, sd : float or None
        A value, or the two ends where the source gives a range.
    currency, year : str or None, int or None
        Of money.
    """

    what: str
    measure: str
    unit: str
    source: Source
    lesion: str | None = None
    family: str | None = None
    housing: str | None = None
    visits: str | None = None
    value: float | None = None
    low: float | None = None
    high: float | None = None
    sd: float | None = None
    currency: str | None = None
    year: int | None = None


CRAMER = Source("Cramer et al. 2008", "J Dairy Sci 91:3888", say("13,530 cows, 204 Ontario herds"))
SOLANO = Source("Solano et al. 2016", "J Dairy Sci 99:6828", say("8,020 cows, 69 Alberta herds"))
DOLECHECK = Source("Dolecheck et al. 2018", "ADSA abstract M213", say("costs a case, mean and SD"))
BRUIJNIS = Source("Bruijnis et al. 2010", "J Dairy Sci 93:2419", say("a herd of 65 cows"))


def _both(what: str, lesion: str, free: float, tied: float, measure: str, unit: str) -> list[PublishedFigure]:
    return [
        PublishedFigure(
            say("{what}, {housing}", what=what, housing=words),
            measure,
            unit,
            CRAMER,
            lesion=lesion,
            housing=housing,
            value=value,
        )
        for housing, words, value in (
            ("freestall", say("freestall"), free),
            ("tie-stall", say("tie stall"), tied),
        )
    ]


def _trimmed(what: str, lesion: str, value: float) -> PublishedFigure:
    return PublishedFigure(
        say("{what}, whole-herd trims", what=what),
        "prevalence",
        "cow",
        SOLANO,
        lesion=lesion,
        visits="whole-herd",
        value=value,
    )


def _cost(what: str, lesion: str, value: float, sd: float) -> PublishedFigure:
    return PublishedFigure(
        say("cost of {what}", what=what),
        "cost",
        "case",
        DOLECHECK,
        lesion=lesion,
        value=value,
        sd=sd,
        currency="USD",
        year=2018,
    )


FIGURES: tuple[PublishedFigure, ...] = (
    *_both(say("cows with any lesion"), ANY_LESION, 0.464, 0.257, "prevalence", "cow"),
    *_both(say("digital dermatitis"), "DD", 0.227, 0.093, "prevalence", "cow"),
    *_both(say("herds with digital dermatitis"), "DD", 0.967, 0.697, "herds affected", "herd"),
    *_both(say("sole ulcer"), "SU", 0.092, 0.047, "prevalence", "cow"),
    *_both(say("sole haemorrhage"), "SH", 0.110, 0.077, "prevalence", "cow"),
    PublishedFigure(
        "share of variance between herds, horn lesions", "variance between herds", "herd", CRAMER,
        family="horn", low=0.095, high=0.173,
    ),
    PublishedFigure(
        "share of variance between herds, infectious lesions", "variance between herds", "herd", CRAMER,
        family="infectious", low=0.280, high=0.387,
    ),
    _trimmed(say("digital dermatitis"), "DD", 0.15),
    _trimmed(say("sole ulcer"), "SU", 0.06),
    _trimmed(say("white line disease"), "WL", 0.04),
    _cost(say("digital dermatitis"), "DD", 137, 36),
    _cost(say("white line disease"), "WL", 203, 33),
    _cost(say("sole ulcer"), "SU", 252, 39),
    PublishedFigure(
        "cost of a clinical foot disorder", "cost", "case", BRUIJNIS, value=95, currency="USD", year=2010
    ),
    PublishedFigure(
        "cost of a subclinical foot disorder", "cost", "case", BRUIJNIS, value=18, currency="USD", year=2010
    ),
    PublishedFigure(
        "foot disorders of a 65-cow herd", "cost", "herd and year", BRUIJNIS, value=4899, currency="USD", year=2010
    ),
)  # fmt: skip
"""Every figure with its source [pub: as named in each]. The year of money is the year of publication."""


def figures_for(
    lesion: str | None = None,
    *,
    measure: str = "prevalence",
    housing: str | None = None,
) -> tuple[PublishedFigure, ...]:
    """Published figures of one measure, for a lesion and a housing where asked for.

    Example
    -------
    >>> [figure.value for figure in figures_for("DD", housing="freestall")]
    [0.227]
    >>> [figure.value for figure in figures_for("WL", measure="cost")]
    [203]
    """
    return tuple(
        figure
        for figure in FIGURES
        if figure.measure == measure
        and (lesion is None or figure.lesion == lesion)
        and (housing is None or figure.housing == housing)
    )
