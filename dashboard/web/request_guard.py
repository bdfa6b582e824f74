"""What the server answers to and lets a page do: its own names, its own scripts, nothing else."""

from __future__ import annotations

import logging
import re
from urllib.parse import urlsplit

from dash import Dash
from dash.exceptions import DependencyException
from flask import Request, Response, abort, request
from werkzeug.exceptions import HTTPException

from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth.access import LOOPBACK_NAMES, SAFE_METHODS, Access
from evenfoot.dashboard.i18n.translation import told

log = logging.getLogger("evenfoot")

LARGEST_BODY = 300 * 1024 * 1024
"""Bytes: the largest sheet that is read, as a browser sends it (in base64), and a little."""

SENTENCES = {
    400: say("The server could not understand what was asked."),
    401: say("Sign in first."),
    403: say("You may not do that."),
    404: say("There is no such page."),
    405: say("That cannot be done here."),
    413: say("That is too large; a sheet may have 200 MB."),
    421: say("This address is not served here."),
    429: say("Too many tries; wait a little."),
    503: say("The server is busy; try again in a moment."),
}
OTHERWISE = say("The server could not answer because of an error in Evenfoot; the records are safe.")

_IN_LOG = re.compile(r"/shared/[^\s/\]]+")


def guard(app: Dash, access: Access) -> None:
    """Check every request's host and origin, and send the security headers with every answer.

    Call it when all callbacks are registered: the hashes of Dash's own inline scripts are taken then.
    """
    server = app.server
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_BODY
    policy = "; ".join(
        (
            "default-src 'none'",
            "script-src 'self' " + " ".join(app.csp_hashes()),
            # plotly and the component libraries write inline styles.
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "font-src 'self' data:",
            "connect-src 'self' data:",
            "manifest-src 'self'",
            # The chute page is kept for days without a network.
            "worker-src 'self'",
            "form-action 'none'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        )
    )

    @server.before_request
    def refuse_strangers() -> None:
        if not _own_host(request, access) or not _own_origin(request) or not _own_site(request):
            abort(_sentence(421))

    @server.after_request
    def add_headers(answer: Response) -> Response:
        headers = answer.headers
        headers.setdefault("Content-Security-Policy", policy)
        headers["X-Content-Type-Options"] = "nosniff"
        headers["X-Frame-Options"] = "DENY"
        headers["Cross-Origin-Opener-Policy"] = "same-origin"
        headers["Cross-Origin-Resource-Policy"] = "same-origin"
        headers["Permissions-Policy"] = "camera=(), geolocation=(), microphone=()"
        headers.setdefault("Referrer-Policy", "same-origin")
        if request.is_secure:
            headers["Strict-Transport-Security"] = "max-age=31536000"
        return answer

    @server.errorhandler(HTTPException)
    def refused(error: HTTPException) -> Response:
        if error.response is not None:
            return error.response  # type: ignore[return-value]
        answer = _sentence(error.code or 500)
        for name, value in error.get_headers():
            if name in ("Allow", "Retry-After", "Location"):
                answer.headers[name] = value
        return answer

    @server.errorhandler(DependencyException)
    def no_such_file(_error: DependencyException) -> Response:
        return _sentence(404)

    @server.errorhandler(Exception)
    def failed(error: Exception) -> Response:
        log.error("%s %s failed", request.method, _IN_LOG.sub("/shared/...", request.path), exc_info=error)
        return _sentence(500)


def _sentence(code: int) -> Response:
    return Response(told(SENTENCES.get(code, OTHERWISE)) + "\n", status=code, mimetype="text/plain")


def _own_host(asked: Request, access: Access) -> bool:
    try:
        name = (urlsplit(f"//{asked.host}").hostname or "").casefold()
    except ValueError:
        return False
    return name in access.names or (asked.path == "/health" and name in LOOPBACK_NAMES)


def _own_site(asked: Request) -> bool:
    """Another site may lead a reader to a page, and to nothing else: what fills pages is for the pages themselves."""
    if asked.headers.get("Sec-Fetch-Site", "none") in ("same-origin", "none"):
        origin = asked.headers.get("Origin")
        return origin is None or asked.method not in SAFE_METHODS or origin == f"{asked.scheme}://{asked.host}"
    leads = asked.headers.get("Sec-Fetch-Mode") == "navigate" and asked.headers.get("Sec-Fetch-Dest") == "document"
    return asked.method in SAFE_METHODS and leads and not asked.path.startswith("/_")


def _own_origin(asked: Request) -> bool:
    """A page of another site may not post here; the browser says where a request comes from.

    A program that is no browser says nothing. It may post JSON, which no form of another site can.
    """
    if asked.method in SAFE_METHODS:
        return True
    if asked.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
        return False
    origin = asked.headers.get("Origin")
    if origin is None:
        return asked.mimetype == "application/json" or asked.headers.get("Sec-Fetch-Site") == "same-origin"
    return origin == f"{asked.scheme}://{asked.host}"
