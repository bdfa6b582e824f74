"""What a browser asks a running server for when a panel is to be filled."""

from __future__ import annotations

import json
from urllib.parse import urlencode
from urllib.request import Request

from evenfoot.dashboard.filling import PLACE
from evenfoot.dashboard.pages import PANELS


def request_for(address: str, name: str, path: str, search: str) -> Request:
    """The request for the panel *name* of the page at *path*; the answer is JSON."""
    if not PANELS[name].live:
        return Request(f"{address}{PLACE}{name}?{urlencode({'path': path, 'search': search})}")
    place = {"name": name, "type": "panel"}
    body = {
        "output": '{"name":["MATCH"],"type":"panel"}.children',
        "outputs": {"id": place, "property": "children"},
        "inputs": [{"id": {"name": name, "type": "due"}, "property": "data", "value": 1}],
        "state": [
            {"id": "address", "property": "search", "value": search},
            {"id": "narrow", "property": "data", "value": False},
            {"id": place, "property": "id", "value": place},
            {"id": "address", "property": "pathname", "value": path},
        ],
        "changedPropIds": [f'{{"name":"{name}","type":"due"}}.data'],
    }
    return Request(f"{address}/_dash-update-component", json.dumps(body).encode(), {"Content-Type": "application/json"})
