"""What a browser asks a running server for when a panel is to be filled."""

from __future__ import annotations

import json
from urllib.request import Request


def request_for(address: str, name: str, path: str, search: str) -> Request:
    """The request for the panel *name* of the page at *path*; the answer is JSON."""
    place = {"name": name, "type": "panel"}
    body = {
        "output": '{"name":["MATCH"],"type":"panel"}.children',
        "outputs": {"id": place, "property": "children"},
        "inputs": [
            {"id": "same-page", "property": "data", "value": None},
            {"id": "narrow", "property": "data", "value": False},
            {"id": "written", "property": "data", "value": None},
        ],
        "state": [
            {"id": "address", "property": "search", "value": search},
            {"id": "address", "property": "pathname", "value": path},
            {"id": place, "property": "id", "value": place},
        ],
        "changedPropIds": [],
    }
    return Request(f"{address}/_dash-update-component", json.dumps(body).encode(), {"Content-Type": "application/json"})
