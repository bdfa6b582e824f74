"""Asking the server as a page does, and as nobody's page would: any callback, with any values."""

from __future__ import annotations

import json
import re
from typing import Any

from evenfoot.dashboard.pages import PAGES, PANELS
from tests.auth.people import Browser, Office

DRAWN = re.compile(r'\\?"(?:bdata|end_id)\\?": ?\\?"[^"\\]*\\?"')
"""Numbers of a chart in base64, also within a text, and Dash's mark of a page: any letters can stand side by side in
them."""

STAMPED = re.compile(r"(?:DTSTAMP|LAST-MODIFIED|SEQUENCE)%3A\w+")
LONG = re.compile(r"\d+\.\d{9,}")
VERSION = re.compile(r'"seen-version": ?\{"data": ?"[^"]*"\}')


def path_of(panel: str) -> str:
    """The page a panel is on."""
    return next(page.path for page in PAGES.values() if PANELS[panel] in page.panels)


def asked(office: Office, key: str, values: dict[str, Any], matched: dict[str, str] | None = None) -> dict[str, Any]:
    """The body of one callback.

    Parameters
    ----------
    key : str
        The callback, as the app knows it.
    values : dict
        ``id.property`` to value; for an id with ALL a list of (id, value) pairs.
    matched : dict, optional
        What stands for MATCH.
    """
    entry = office.app.callback_map[key]
    inputs = [_given(part, values, matched) for part in entry["inputs"]]
    state = [_given(part, values, matched) for part in entry.get("state", [])]
    first = next((part for part in inputs), None)
    triggered = _triggered(first)
    return {
        "output": key,
        "outputs": _outputs(key, matched),
        "inputs": inputs,
        "state": state,
        "changedPropIds": values.get("changed", triggered),
    }


def _given(part: dict[str, str], values: dict[str, Any], matched: dict[str, str] | None) -> Any:
    name = f"{part['id']}.{part['property']}"
    if "ALL" in part["id"]:
        return [{"id": each, "property": part["property"], "value": value} for each, value in values.get(name, [])]
    own: Any = part["id"]
    if "MATCH" in own:
        own = _matched(part["id"], matched)
        if part["property"] == "id":
            return {"id": own, "property": "id", "value": own}
    return {"id": own, "property": part["property"], "value": values.get(name)}


def _triggered(first: Any) -> list[str]:
    if isinstance(first, list):
        return [
            f"{json.dumps(each['id'], separators=(',', ':'), sort_keys=True)}.{each['property']}" for each in first[:1]
        ]
    if first is None:
        return []
    own = first["id"]
    own = own if isinstance(own, str) else json.dumps(own, separators=(",", ":"), sort_keys=True)
    return [f"{own}.{first['property']}"]


def _outputs(key: str, matched: dict[str, str] | None) -> Any:
    if not key.startswith(".."):
        name, _, own = key.rpartition(".")
        return {"id": matched if "MATCH" in name else name, "property": own}
    named = [part.rpartition(".") for part in key.strip(".").split("...")]
    return [{"id": _matched(name, matched) if "MATCH" in name else name, "property": own} for name, _, own in named]


def _matched(pattern: str, matched: dict[str, str] | None) -> dict[str, str]:
    """The id that stands for a pattern."""
    return {**(matched or {}), "type": json.loads(pattern)["type"]}


def marks(text: str, *said: str) -> bool:
    """Whether anything of the other farm stands in an answer, leaving out what the one who asked had *said*."""
    plain = DRAWN.sub("", text).casefold()
    for words in said:
        plain = plain.replace(words.casefold(), "")
    return "zz" in plain


def settled(text: str) -> str:
    """An answer without what differs from one moment to the next: the time, and the last digits of sums."""
    return LONG.sub(lambda found: f"{float(found[0]):.7g}", STAMPED.sub("", DRAWN.sub("", text)))


def ask(office: Office, browser: Browser, key: str, values: dict[str, Any], matched: Any = None) -> tuple[int, str]:
    """Status and text of the answer."""
    answer = browser.post("/_dash-update-component", json=asked(office, key, values, matched))
    return answer.status_code, VERSION.sub("", answer.text.replace("\\u002f", "/"))


def contents(
    office: Office, browser: Browser, name: str, search: str, path: str | None = None, *, narrow: bool = False
) -> tuple[int, str]:
    """Status and text of the answers with what a panel shows for an address, and with what stands in its fold."""
    values = {"address.search": search, "narrow.data": narrow, "address.pathname": path or path_of(name)}
    shown, fold = (
        ask(office, browser, key, values | clicks, {"name": name, "type": kind})
        for kind, key, clicks in (
            ("panel", '{"name":["MATCH"],"type":"panel"}.children', {}),
            (
                "certainty",
                '{"name":["MATCH"],"type":"certainty"}.children',
                {'{"name":["MATCH"],"type":"ask-certainty"}.n_clicks': 1},
            ),
        )
    )
    return max(shown[0], fold[0]), f"[{shown[1] or 'null'},{fold[1] or 'null'}]"


def panel(office: Office, browser: Browser, name: str, search: str) -> str:
    """What a panel shows for an address."""
    code, text = contents(office, browser, name, search)
    assert code == 200, (name, search, text)
    assert "because of an error in Evenfoot" not in text, (name, search)
    return text
