"""What the server answers to and lets a page do: this machine's own names, its own scripts, nothing else."""

from __future__ import annotations

from urllib.parse import urlsplit

from dash import Dash
from flask import Request, Response, abort, request

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
"""Names a browser on this machine may use. A name that another site points here (DNS rebinding) is none of
them."""


def guard(app: Dash) -> None:
    """Check every request's host and origin, and send the security headers with every answer.

    Call it when all callbacks are registered: the hashes of Dash's own inline scripts are taken then.
    """
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
            "form-action 'none'",
            "base-uri 'none'",
            "frame-ancestors 'none'",
        )
    )

    @app.server.before_request
    def refuse_strangers() -> None:
        if not _own_host(request) or not _own_origin(request):
            abort(Response("This address is not served here.", status=421, mimetype="text/plain"))

    @app.server.after_request
    def add_headers(answer: Response) -> Response:
        answer.headers["Content-Security-Policy"] = policy
        answer.headers["X-Content-Type-Options"] = "nosniff"
        answer.headers["Referrer-Policy"] = "same-origin"
        answer.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        answer.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        return answer


def _own_host(asked: Request) -> bool:
    return (urlsplit(f"//{asked.host}").hostname or "") in LOOPBACK_NAMES


def _own_origin(asked: Request) -> bool:
    """A page of another site may not post here; the browser says where a request comes from."""
    origin = asked.headers.get("Origin")
    if asked.method in ("GET", "HEAD", "OPTIONS") or origin is None:
        return True
    return urlsplit(origin).netloc == asked.host
