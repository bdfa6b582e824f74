"""How the reader likes to read: language, lengths, dates, week and hemisphere, from the address, the cookie or the
browser."""

from __future__ import annotations

import json
from collections.abc import Iterable
from functools import cache
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

from flask import Flask, request

from evenfoot.dashboard.i18n.catalogue import LANGUAGES
from evenfoot.dashboard.i18n.translation import DATES, HEMISPHERES, UNITS, WEEKS, Words, _, speak

SETTINGS: dict[str, tuple[str, ...]] = {
    "language": tuple(LANGUAGES),
    "units": UNITS,
    "dates": tuple(DATES),
    "week": tuple(WEEKS),
    "hemisphere": HEMISPHERES,
}
"""Name in the address and in the cookie -> what it can be, the default first."""

COOKIE = "evenfoot_reading"


def words_of(search: str, cookie: str = "", accepted: Iterable[str] = ()) -> Words:
    """The words for a reader: what the address says goes first, then her own cookie, then her browser's language.

    A hemisphere kept in the cookie holds for a bare address only: a link that was sent shows the same seasons to
    everybody. What is not known is passed over.

    Examples
    --------
    >>> words_of("?language=es&units=in").language, words_of("", accepted=("fr", "es-MX", "en")).language
    ('es', 'es')
    >>> words_of("?language=xx", "language=es&dates=month").dates_as
    'month'
    """
    given = dict(parse_qsl((search or "").lstrip("?")))
    kept = dict(parse_qsl(unquote(cookie or "")))
    if given:
        kept.pop("hemisphere", None)
    chosen: dict[str, str] = {}
    for name, known in SETTINGS.items():
        for each in (given.get(name), kept.get(name)):
            if each in known:
                chosen[name] = each
                break
    if "language" not in chosen:
        spoken = (each.split("-")[0].casefold() for each in accepted)
        chosen["language"] = next((each for each in spoken if each in LANGUAGES), "en")
    if "dates" in chosen:
        chosen["dates_as"] = chosen.pop("dates")
    return Words(**chosen)


def listen(server: Flask) -> None:
    """Before each request, take up the words of whoever asks."""

    @server.before_request
    def hear() -> None:
        speak(asked_for(_search()))


def asked_for(search: str) -> Words:
    """The words for this request, the address being *search*."""
    accepted = [language for language, _weight in request.accept_languages]
    return words_of(search, request.cookies.get(COOKIE, ""), accepted)


def _search() -> str:
    """The query of the page itself: callbacks come from it and name it as where they come from."""
    if request.path.startswith("/_dash"):
        try:
            return urlsplit(request.referrer or "").query
        except ValueError:  # Not an address.
            return ""
    return request.query_string.decode("utf-8", "replace")


def settings(words: Words) -> dict[str, str]:
    """The settings by their names in the address."""
    return {
        "language": words.language,
        "units": words.units,
        "dates": words.dates_as,
        "week": words.week,
        "hemisphere": words.hemisphere,
    }


def for_the_browser(words: Words) -> dict[str, str]:
    """Attributes of the page's root from which the browser's part knows the reader."""
    said = {
        "copy": _("Copy link"),
        "copied": _("Link copied"),
        "copyThis": _("Copy this link"),
        "sheet": _("Sheet to import"),
        "silent": _("Evenfoot does not answer. If it was stopped, start it again; then load this page anew."),
    }
    return {
        "data-calendar": json.dumps(calendar_names(words), ensure_ascii=False),
        "lang": words.language,
        "data-reading": json.dumps(settings(words)),
        "data-said": json.dumps(said, ensure_ascii=False),
    }


def calendar(words: Words) -> dict[str, Any]:
    """How calendars are set."""
    return {"locale": words.language, "firstDayOfWeek": WEEKS[words.week], "weekendDays": [0, 6]}


def for_charts(words: Words) -> dict[str, Any]:
    """What a chart needs to write the months of its axes in the reader's language."""
    if words.language == "en":
        return {}
    names = calendar_names(words)
    return {
        "locale": words.language,
        "locales": {
            words.language: {
                "dictionary": {},
                "format": {
                    "days": names["weekdays"],
                    "shortDays": names["weekdaysShort"],
                    "months": names["months"],
                    "shortMonths": names["monthsShort"],
                    "date": "%d/%m/%Y",
                },
            }
        },
    }


@cache
def calendar_names(words: Words) -> dict[str, Any]:
    """Months and days by name, in the form the calendar's library takes."""
    from babel import Locale

    locale = Locale.parse(words.language)
    # Babel's week begins on Monday, the library's on Sunday.
    order = (6, 0, 1, 2, 3, 4, 5)
    days, months = locale.days["format"], locale.months["format"]
    return {
        "name": words.language,
        "weekdays": [days["wide"][day] for day in order],
        "weekdaysShort": [days["abbreviated"][day] for day in order],
        "weekdaysMin": [locale.days["stand-alone"]["narrow"][day] for day in order],
        "months": [months["wide"][month] for month in range(1, 13)],
        "monthsShort": [months["abbreviated"][month].rstrip(".") for month in range(1, 13)],
        "weekStart": WEEKS[words.week],
    }
