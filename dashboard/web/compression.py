"""How answers travel to the browser: compressed, and kept there as long as they cannot have changed."""

from __future__ import annotations

import gzip
import re

import brotli
from dash import Dash
from flask import Response, request

FOR_A_YEAR = "private, max-age=31536000, immutable"
"""For addresses that name the very version of what they give."""

SMALLEST = 2048
"""Bytes below which compressing is not worth a header."""

LEVELS = {"br": (9, 4), "gzip": (6, 1)}
"""How hard scripts and answers are compressed: scripts once and well, answers each time and quickly.

Eight drawn feet of 650 kB take 1.2 ms and 24 kB with brotli, 1.8 ms and 75 kB with gzip.
"""

SCRIPTS = frozenset({"application/javascript", "text/javascript", "text/css", "image/svg+xml"})
"""What stays the same from visit to visit."""

TYPES = SCRIPTS | {"application/json"}
"""What is compressed. Pages themselves are not: they are small, and a form's secret may be in them."""

_FINGERPRINT = re.compile(r"\.v[\w-]+m\w+\.")


def deliver(app: Dash) -> None:
    """Compress what the server sends, and say how long it may be kept."""

    @app.server.before_request
    def forget_weakness() -> None:
        """A compressed answer's tag is weak; Dash compares tags as they are."""
        asked = request.environ.get("HTTP_IF_NONE_MATCH", "")
        if asked.startswith("W/"):
            request.environ["HTTP_IF_NONE_MATCH"] = asked[2:]

    @app.server.after_request
    def pack(answer: Response) -> Response:
        _keep(answer)
        if answer.status_code == 200 and answer.mimetype in TYPES and "Content-Encoding" not in answer.headers:
            answer.headers["Vary"] = "Accept-Encoding"
            accepted = [name for name, _weight in request.accept_encodings]
            for how in LEVELS:
                if how in accepted:
                    _compress(answer, how)
                    break
        return answer


def _keep(answer: Response) -> None:
    fixed = _FINGERPRINT.search(request.path) or (request.path.startswith("/assets/") and "m" in request.args)
    if fixed and answer.status_code in (200, 304):
        answer.headers["Cache-Control"] = FOR_A_YEAR
    elif "Cache-Control" not in answer.headers:
        # What a farm's records say is not left behind in a browser's store; scripts are asked for anew.
        script = answer.status_code == 304 or answer.mimetype in ("application/javascript", "text/javascript")
        answer.headers["Cache-Control"] = "no-cache" if script else "no-store"


def _compress(answer: Response, how: str) -> None:
    answer.direct_passthrough = False
    data = answer.get_data()
    if len(data) < SMALLEST:
        return
    once, each_time = LEVELS[how]
    fixed = answer.mimetype in SCRIPTS
    answer.set_data(_packed_once(data, how, once) if fixed else _packed_at(data, how, each_time))
    answer.headers["Content-Encoding"] = how
    tag, _ = answer.get_etag()
    if tag:
        answer.set_etag(tag, weak=True)


_packed: dict[tuple[str, int, str], bytes] = {}


def _packed_at(data: bytes, how: str, level: int) -> bytes:
    return brotli.compress(data, quality=level) if how == "br" else gzip.compress(data, level)


def _packed_once(data: bytes, how: str, level: int) -> bytes:
    """A script or style sheet, compressed the first time it is asked for. There are as many as there are files."""
    key = (request.path, len(data), how)
    if key not in _packed:
        _packed[key] = _packed_at(data, how, level)
    return _packed[key]
