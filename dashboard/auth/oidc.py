"""Signing in with the office's own service, by OpenID Connect: for accounts that the owner has made, and no others.

Settings, all from the environment: EVENFOOT_OIDC_ISSUER, EVENFOOT_OIDC_CLIENT, EVENFOOT_OIDC_SECRET and, for the
button, EVENFOOT_OIDC_NAME. The way is the authorization code with PKCE, state and nonce [pub: OpenID Connect Core 1.0,
section 3.1; RFC 7636].
"""

from __future__ import annotations

import hmac
import logging
import os
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from typing import Any
from urllib.parse import urlsplit

from dash import Dash
from flask import Flask, request, session
from werkzeug.wrappers import Response as Answer

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth import history, people
from evenfoot.dashboard.auth.access import Access, is_loopback
from evenfoot.dashboard.auth.history import note_try
from evenfoot.dashboard.auth.login import own_path, refused_sign_in, start_session
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.i18n.translation import told

log = logging.getLogger("evenfoot")

PREFIX = "EVENFOOT_OIDC_"
SECONDS = 10
"""How long the service may take to answer. [common practice, no source]"""

NO_ACCOUNT = say("No account here goes with that sign-in; ask the owner of the ledger.")
FAILED = say("Signing in elsewhere did not work; please try again.")


@dataclass(frozen=True)
class Service:
    """The office's own sign-in."""

    issuer: str
    client: str
    secret: str
    name: str


def service(environment: Mapping[str, str] | None = None) -> Service | None:
    """The service named in the environment, or ``None``.

    Raises
    ------
    UserError
        A setting is missing, or the service is not reached over TLS.
    """
    given = os.environ if environment is None else environment
    issuer = given.get(PREFIX + "ISSUER", "").rstrip("/")
    if not issuer:
        return None
    missing = [PREFIX + name for name in ("CLIENT", "SECRET") if not given.get(PREFIX + name)]
    if missing:
        raise UserError(f"{PREFIX}ISSUER is set, but {' and '.join(missing)} is not; set it too.")
    place = urlsplit(issuer)
    here = given.get(PREFIX + "PLAIN_ON_LOOPBACK") == "1" and is_loopback(place.hostname or "")
    if not place.hostname or (place.scheme != "https" and not here):
        raise UserError(f"{PREFIX}ISSUER must be an address that begins with https, not '{issuer}'.")
    return Service(
        issuer, given[PREFIX + "CLIENT"], given[PREFIX + "SECRET"], given.get(PREFIX + "NAME") or place.hostname
    )


def offer(app: Dash, store: Store, access: Access, known: Service) -> None:
    """Offer the service on the sign-in page.

    Raises
    ------
    UserError
        The library it takes is not installed.
    """
    server = app.server
    client = _client(server, store, access, known)
    server.config["EVENFOOT_SIGN_IN_NAME"] = known.name

    @server.get("/sign-in/start", endpoint="sign-in-elsewhere")
    def start() -> Answer:
        session["next"] = own_path(request.args.get("next"))
        back = request.host_url.rstrip("/") + "/sign-in/done"
        try:
            answer: Answer = client.authorize_redirect(back)
        except Exception as error:  # whatever the service or the network does, the reader is told one sentence
            return _failed(store, access, error)
        return answer

    @server.get("/sign-in/done", endpoint="signed-in-elsewhere")
    def done() -> Answer:
        then = own_path(session.pop("next", "/"))
        try:
            claims = dict(client.authorize_access_token()["userinfo"])
            subject, email = _checked(claims, known)
        except Exception as error:
            return _failed(store, access, error)
        finally:
            session.clear()
        number = people.of_identity(store, subject, email)
        if number is None:
            note_try(store, history.REFUSED_ELSEWHERE, None)
            return refused_sign_in(store, access, told(NO_ACCOUNT))
        return start_session(store, access, number, then, noted_as=history.SIGNED_IN_ELSEWHERE)


def _client(server: Flask, store: Store, access: Access, known: Service) -> Any:
    try:
        from authlib.integrations.flask_client import OAuth
    except ImportError:
        raise UserError(
            "Signing in elsewhere takes one more part; install it with `pip install evenfoot[oidc]`."
        ) from None
    server.secret_key = hmac.new(store.secret(), b"sign in elsewhere", sha256).digest()
    server.config.update(
        SESSION_COOKIE_NAME=store.cookie("evenfoot-sign-in"),
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        SESSION_COOKIE_SECURE=access.behind_proxy,
    )
    return OAuth(server).register(
        "office",
        client_id=known.client,
        client_secret=known.secret,
        server_metadata_url=f"{known.issuer}/.well-known/openid-configuration",
        client_kwargs={"scope": "openid email", "code_challenge_method": "S256", "timeout": SECONDS},
    )


def _checked(claims: Mapping[str, Any], known: Service) -> tuple[str, str | None]:
    """The subject, with its issuer, and the e-mail address where the service vouches for it.

    The library has checked signature, nonce and time; that the word is for us and from them is checked here as well.
    """
    audience = claims.get("aud")
    if str(claims.get("iss", "")).rstrip("/") != known.issuer:
        raise ValueError("another issuer")
    if known.client not in (audience if isinstance(audience, list) else [audience]):
        raise ValueError("another audience")
    subject = str(claims.get("sub") or "")
    if not subject:
        raise ValueError("no subject")
    email = claims.get("email") if claims.get("email_verified") is True else None
    return f"{known.issuer} {subject}", email if isinstance(email, str) and email else None


def _failed(store: Store, access: Access, error: Exception) -> Answer:
    log.warning("Signing in elsewhere failed: %s", type(error).__name__)
    return refused_sign_in(store, access, told(FAILED))
