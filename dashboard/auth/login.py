"""The door: who is let in, and how one signs in and out.

With accounts, everything but the sign-in page, the health line, shared reports and the files every page is made
of asks for a session. The check is here, before any page or callback runs, and nowhere else.
"""

from __future__ import annotations

import hmac
import re
import secrets
from collections.abc import Mapping
from functools import partial
from hashlib import sha256
from typing import Any

from dash import Dash
from flask import Flask, Response, abort, g, redirect, request
from itsdangerous import BadSignature, URLSafeSerializer
from werkzeug.http import parse_cookie
from werkzeug.wrappers import Response as Answer

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.history import acting
from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth import history, links, passwords, people, second_factor, sessions, throttle
from evenfoot.dashboard.auth import login_pages as door_pages
from evenfoot.dashboard.auth.access import SAFE_METHODS, Access
from evenfoot.dashboard.auth.history import note_try
from evenfoot.dashboard.auth.kept_note import has_note
from evenfoot.dashboard.auth.store import Store
from evenfoot.dashboard.auth.viewer import OWNER, Viewer, current_viewer
from evenfoot.dashboard.i18n.translation import _, told

OPEN = frozenset(
    {
        "_dash_assets.static",
        "/_dash-component-suites/<string:package_name>/<path:fingerprinted_path>",
        "/_favicon.ico",
        "health",
        "sign-in",
        "second-step",
        "sign-in-elsewhere",
        "signed-in-elsewhere",
        "shared",
        "shared-pdf",
        "signed-out-files",
    }
)
"""Endpoints that need no session."""

FORM_COOKIE = "evenfoot-form"
CSRF_COOKIE = "evenfoot-word"
"""Dash's own script sends this cookie back as a header with every callback. What these names are in the browser says
:meth:`Store.cookie`."""

KNOWN_COOKIE = "evenfoot-known"
LEFT_COOKIE = "evenfoot-left"
"""Somebody has signed out here: the sign-in page then wipes what the browser has loaded, by a script of ours."""

LEFT_SECONDS = 600
"""How long the sign-in page does so. [common practice, no source]"""

KNOWN_SECONDS = 365 * 24 * 3600
"""How long a browser is known for an account. [common practice, no source]"""

TICKET_SECONDS = 600
"""Between the two steps of signing in, and for setting an app up. [common practice, no source]"""

SHOWN_LINES = 50
"""Lines of the accounts' history on the page of an owner."""

WORD_HEADER = "X-CSRFToken"
LARGEST_FORM = 16 * 1024
PAGE_POLICY = (
    "default-src 'none'; style-src 'self' 'unsafe-inline'; img-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
"""The pages of the door run no script at all, but for the one that wipes the browser after signing out."""


def install(app: Dash, ledger: Ledger, store: Store, access: Access) -> None:
    """Put the door in front of an app. Call it after :func:`evenfoot.dashboard.web.request_guard.guard`."""
    server = app.server
    lock = Lock(ledger, store, access)
    _check_everything(server, store, access, lock)
    _signing_in(server, store, access, lock)
    _own_account(server, store, access)
    server.add_url_rule("/health", "health", lambda: Response("ok\n", mimetype="text/plain"))


class Lock:
    """Whether everybody must sign in: where other machines reach the server, and once there are accounts.

    What was locked stays locked until the server is started anew, also when the accounts file is moved away. A ledger
    put in the place of the one that was there is asked whether it has accounts.

    Parameters
    ----------
    ledger : Ledger
    store : Store
    access : Access
    """

    def __init__(self, ledger: Ledger, store: Store, access: Access) -> None:
        self._ledger, self._store = ledger, store
        self._closed = not access.open_here
        self._asked: tuple[int, ...] | None = None

    @property
    def closed(self) -> bool:
        """Whether a session is needed now.

        A ledger that is a file is asked again whenever it has changed. A server or a registry is asked once.
        """
        if not self._closed:
            self._closed = self._store.in_use or self._ledger_has_accounts()
        return self._closed

    def _ledger_has_accounts(self) -> bool:
        if self._asked is not None and not self._ledger.in_a_file:
            return False
        try:
            version = self._ledger.version
            if version == self._asked:
                return False
            found = has_note(self._ledger)
        except UserError:
            # Nothing can be read from it now; it is asked again before the next answer.
            return False
        self._asked = version
        return found


def may_send_much(store: Store, access: Access, lock: Lock, headers: Mapping[str, str]) -> bool:
    """Whether whoever sent these headers may send a sheet: who has signed in, or, without accounts, our own pages.

    Parameters
    ----------
    store, access, lock
    headers : mapping of str to str
        By their names in capitals with underscores, as waitress has them.
    """
    if headers.get("SEC_FETCH_SITE", "same-origin") not in ("same-origin", "none"):
        return False
    if not lock.closed:
        return True
    token = parse_cookie(headers.get("COOKIE", "")).get(_cookie_name(store, secure=access.behind_proxy))
    return sessions.viewer(store, token, active=False) is not None


def _check_everything(server: Flask, store: Store, access: Access, lock: Lock) -> None:
    @server.before_request
    def let_in() -> Answer | None:
        if request.endpoint == "health":
            return None
        if not lock.closed:
            g.viewer = OWNER
            return None
        token = request.cookies.get(_cookie(store, access))
        viewer = sessions.viewer(store, token, active=not _looks_for_news())
        if viewer is not None and token is not None:
            unsafe = request.method not in SAFE_METHODS and request.endpoint not in OPEN
            if unsafe and not _has_word(sessions.form_word(token)):
                abort(403)
            g.viewer, g.token = viewer, token
            g.acting = acting(viewer.name, partial(_refuse_changed, store, token, viewer))
            g.acting.__enter__()
            return None
        if request.endpoint in OPEN:
            return None
        if request.method != "GET" or request.path.startswith("/_"):
            abort(401)
        return redirect(door_pages.sign_in_address(request.full_path.rstrip("?")), 303)

    @server.teardown_request
    def act_no_more(_error: BaseException | None) -> None:
        if "acting" in g:
            g.pop("acting").__exit__(None, None, None)

    @server.after_request
    def keep_private(answer: Response) -> Response:
        if request.endpoint not in OPEN:
            answer.headers.setdefault("Cache-Control", "no-store")
        token = g.get("token")
        if token is not None and answer.mimetype == "text/html":
            word = sessions.form_word(token)
            if request.cookies.get(store.cookie(CSRF_COOKIE)) != word:
                answer.set_cookie(
                    store.cookie(CSRF_COOKIE), word, secure=_secure(access), httponly=False, samesite="Strict"
                )
        return answer


def _signing_in(server: Flask, store: Store, access: Access, lock: Lock) -> None:
    @server.route("/login", methods=["GET", "POST"], endpoint="sign-in")
    def sign_in() -> Answer:
        if not lock.closed or (request.method == "GET" and "token" in g):
            return redirect("/", 303)
        then = own_path(request.values.get("next"))
        if request.method == "GET":
            return _sign_in_page(store, access, then)
        if (request.content_length or 0) > LARGEST_FORM:
            abort(413)
        if not _form_is_ours(store):
            return _sign_in_page(store, access, then, _("This page was open too long; please try again."), 400)
        name, password = request.form.get("name", ""), request.form.get("password", "")
        number, kept = people.password_of(store, name)
        counts = _counts(store, name, number)
        wait = throttle.take_turn(store, counts)
        if wait > 0:
            note_try(store, history.REFUSED, people.name_of(store, number), tried=people.key(name))
            return _wait(_sign_in_page(store, access, then, told(door_pages.WAIT), 429), wait)
        if not passwords.matches(password, kept) or number is None or kept is None:
            note_try(store, history.PASSWORD_WRONG, people.name_of(store, number))
            return _sign_in_page(store, access, then, told(door_pages.WRONG), 401)
        throttle.forgive(store, counts)
        if passwords.outdated(kept):
            people.keep_hash(store, number, passwords.hash_of(password))
        if second_factor.in_use(store, number):
            return _code_page(store, access, then, _ticket(store, number, kept))
        return _known_from_now(store, access, start_session(store, access, number, then), number)

    @server.route("/login/code", methods=["GET", "POST"], endpoint="second-step")
    def second_step() -> Answer:
        then = own_path(request.values.get("next"))
        if (request.content_length or 0) > LARGEST_FORM:
            abort(413)
        number = _number_of_ticket(store, request.form.get("ticket", "")) if _form_is_ours(store) else None
        if number is None:
            return _sign_in_page(store, access, then, _("This page was open too long; please try again."), 400)
        ticket, counts = request.form["ticket"], {"code": str(number)}
        wait = throttle.take_turn(store, counts)
        if wait > 0:
            note_try(store, history.REFUSED, people.name_of(store, number), tried=str(number))
            return _wait(_code_page(store, access, then, ticket, told(door_pages.WAIT), 429), wait)
        try:
            right = second_factor.accept(store, number, request.form.get("code", ""))
        except UserError as known:
            return _code_page(store, access, then, ticket, told(known.sentence), 503)
        if not right:
            note_try(store, history.CODE_WRONG, people.name_of(store, number))
            return _code_page(store, access, then, ticket, told(second_factor.WRONG_CODE), 401)
        throttle.forgive(store, counts)
        return _known_from_now(store, access, start_session(store, access, number, then), number)

    @server.route("/logout", methods=["POST"], endpoint="sign-out")
    def sign_out() -> Answer:
        if "token" in g:
            sessions.end(store, g.token)
        return _forgotten(store, access)


def _own_account(server: Flask, store: Store, access: Access) -> None:
    @server.route("/account", methods=["GET", "POST"], endpoint="account")
    def account() -> Answer:
        viewer = current_viewer()
        if viewer.account is None:
            return redirect("/", 303)
        if request.method == "GET":
            return _account_page(store, viewer)
        if (request.content_length or 0) > LARGEST_FORM:
            abort(413)
        try:
            return _acted(store, access, viewer)
        except UserError as known:
            return _account_page(store, viewer, told(known.sentence), 400)


def _acted(store: Store, access: Access, viewer: Viewer) -> Answer:
    """What a form of the account page asks for."""
    assert viewer.account is not None
    act = request.form.get("act", "")
    if act == "sign out everywhere":
        sessions.end_all(store, viewer.account)
        return _forgotten(store, access)
    if act == "end session":
        ended = sessions.end_one(store, viewer.account, request.form.get("session", ""))
        return _account_page(store, viewer, _("That session was ended.") if ended else _("That session has ended."))
    if act == "revoke link":
        found = links.revoke(store, viewer, request.form.get("link", ""))
        return _account_page(store, viewer, door_pages.revoked(found.farm))
    if act == "change password":
        _check_password(store, viewer)
        if request.form.get("new") != request.form.get("again"):
            raise UserError(say("The two new passwords are not the same."))
        people.set_password(store, viewer.name, request.form.get("new", ""))
        return start_session(store, access, viewer.account, "/account", noted_as=None)
    if act == "begin second factor":
        _check_password(store, viewer)
        return _page(_begin_page(store, viewer, second_factor.new_secret()))
    if act == "confirm second factor":
        return _confirmed(store, viewer)
    if act == "end second factor":
        _check_password(store, viewer)
        _check_code(store, viewer)
        second_factor.end(store, viewer.account)
        return _account_page(store, viewer, _("From now on the password alone is asked for."))
    abort(400)


def _check_password(store: Store, viewer: Viewer) -> None:
    """Ask for the password again before something that opens the account to whoever found the browser open."""
    counts = _counts(store, viewer.name, viewer.account)
    if throttle.take_turn(store, counts) > 0:
        note_try(store, history.REFUSED, viewer.name, tried=viewer.name, signed_in=True)
        raise UserError(door_pages.WAIT)
    _, kept = people.password_of(store, viewer.name)
    if not passwords.matches(request.form.get("password", ""), kept):
        note_try(store, history.PASSWORD_WRONG, viewer.name, signed_in=True)
        raise UserError(say("The password you have now is not right."))
    throttle.forgive(store, counts)


def _check_code(store: Store, viewer: Viewer) -> None:
    counts = {"code": str(viewer.account)}
    if throttle.take_turn(store, counts) > 0:
        note_try(store, history.REFUSED, viewer.name, tried=viewer.name, signed_in=True)
        raise UserError(door_pages.WAIT)
    assert viewer.account is not None
    if not second_factor.accept(store, viewer.account, request.form.get("code", "")):
        note_try(store, history.CODE_WRONG, viewer.name, signed_in=True)
        raise UserError(second_factor.WRONG_CODE)
    throttle.forgive(store, counts)


def _begin_page(store: Store, viewer: Viewer, secret: bytes, told_so: str = "") -> str:
    """The secret, which stands in the form, signed, until a code shows that the app has it."""
    signed = _signer(store, "second factor").dumps(
        {"account": viewer.account, "secret": secret.hex(), "ends": store.clock() + TICKET_SECONDS}
    )
    return door_pages.second_factor(viewer, sessions.form_word(g.token), secret, str(signed), told_so)


def _confirmed(store: Store, viewer: Viewer) -> Answer:
    assert viewer.account is not None
    said = _said(store, "second factor", request.form.get("secret", ""))
    if said is None or said.get("account") != viewer.account:
        raise UserError(say("This page was open too long; please try again."))
    secret = bytes.fromhex(said["secret"])
    try:
        codes = second_factor.begin(store, viewer.account, secret, request.form.get("code", ""))
    except UserError as known:
        return _page(_begin_page(store, viewer, secret, told(known.sentence)), 400)
    return _page(door_pages.recovery_codes(viewer, codes))


def start_session(
    store: Store, access: Access, number: int, then: str, *, noted_as: str | None = history.SIGNED_IN
) -> Answer:
    """Sign somebody in: a new session, whatever token the browser had before, and on to the page asked for.

    Parameters
    ----------
    store : Store
    access : Access
    number : int
        Of the account.
    then : str
        Path to go on to.
    noted_as : str or None
        One of :data:`evenfoot.dashboard.auth.history.TRIES`; ``None`` for who is signed in already.
    """
    old = request.cookies.get(_cookie(store, access))
    if old:
        sessions.end(store, old)
    token = sessions.begin(store, number, request.remote_addr or "", request.headers.get("User-Agent", ""))
    if noted_as is not None:
        note_try(store, noted_as, people.name_of(store, number), signed_in=True)
    answer = redirect(then, 303)
    secure = _secure(access)
    # Lax, so that an address somebody was sent opens; what changes something asks for the session's word as well.
    answer.set_cookie(_cookie(store, access), token, secure=secure, httponly=True, samesite="Lax", path="/")
    word = sessions.form_word(token)
    answer.set_cookie(store.cookie(CSRF_COOKIE), word, secure=secure, httponly=False, samesite="Strict")
    answer.delete_cookie(store.cookie(FORM_COOKIE), secure=secure)
    answer.delete_cookie(store.cookie(LEFT_COOKIE), secure=secure, httponly=True, samesite="Strict")
    return answer


def _refuse_changed(store: Store, token: str, viewer: Viewer) -> None:
    """Refuse to keep a change of somebody who was signed out, or whose rights are others by now.

    Raises
    ------
    UserError
        The account is gone, its session has ended, or its role or farms were changed.
    """
    if sessions.viewer(store, token, active=False) != viewer:
        raise UserError(
            say("Your account was changed or removed meanwhile, so nothing of this was kept; sign in again.")
        )


def _counts(store: Store, name: str, number: int | None) -> dict[str, str]:
    """What a try counts for; see :mod:`evenfoot.dashboard.auth.throttle`."""
    said = _said(store, "known browser", request.cookies.get(_known_cookie(store, number), ""))
    known = said["mark"] if said is not None and said.get("account") == number else ""
    return throttle.counts_of(people.key(name), request.remote_addr or "", known)


def _known_from_now(store: Store, access: Access, answer: Answer, number: int) -> Answer:
    """Let the browser be known for the account that has signed in; says nothing of who is signed in now."""
    ends = store.clock() + KNOWN_SECONDS
    said = {"account": number, "mark": secrets.token_urlsafe(12), "ends": ends}
    answer.set_cookie(
        _known_cookie(store, number),
        str(_signer(store, "known browser").dumps(said)),
        max_age=KNOWN_SECONDS,
        secure=_secure(access),
        httponly=True,
        samesite="Strict",
    )
    return answer


def _known_cookie(store: Store, number: int | None) -> str:
    """One for each account, since several people may use one browser."""
    return store.cookie(f"{KNOWN_COOKIE}-{number}")


def _ticket(store: Store, number: int, kept: str) -> str:
    """What shows for a few minutes that the password was right; a new password makes it useless."""
    said = {"account": number, "ends": store.clock() + TICKET_SECONDS, "of": sha256(kept.encode()).hexdigest()[:16]}
    return str(_signer(store, "second step").dumps(said))


def _number_of_ticket(store: Store, ticket: str) -> int | None:
    said = _said(store, "second step", ticket)
    kept = None if said is None else people.hash_of_account(store, said["account"])
    if said is None or kept is None or sha256(kept.encode()).hexdigest()[:16] != said["of"]:
        return None
    return int(said["account"])


def _signer(store: Store, what: str) -> URLSafeSerializer:
    return URLSafeSerializer(store.secret(), salt=f"evenfoot {what}")


def _said(store: Store, what: str, signed: str) -> dict[str, Any] | None:
    """What we signed, unless somebody else did or it has ended."""
    try:
        said: dict[str, Any] = _signer(store, what).loads(signed)
    except BadSignature:
        return None
    return said if said["ends"] > store.clock() else None


def own_path(asked: str | None) -> str:
    """Where to go after signing in: a path of this server, whatever was asked for.

    Examples
    --------
    >>> [own_path(asked) for asked in ("/lesions?farms=A", "//evil.example", "evil.example", "/\\\\evil", None)]
    ['/lesions?farms=A', '/', '/', '/', '/']
    """
    if not asked or len(asked) > 2000 or not re.fullmatch(r"/(?![/\\])[^\\\x00-\x20\x7f]*", asked):
        return "/"
    return "/" if asked.startswith(("/login", "/logout", "/_")) else asked


def _looks_for_news() -> bool:
    """Whether the page asks by itself whether the ledger has changed."""
    return request.endpoint == "ledger-state"


def _has_word(word: str) -> bool:
    sent = request.headers.get(WORD_HEADER)
    if sent is None and request.mimetype == "application/x-www-form-urlencoded":
        sent = request.form.get("word")
    return sent is not None and hmac.compare_digest(sent.encode(), word.encode())


def _secure(access: Access) -> bool:
    return access.behind_proxy or request.is_secure


def _cookie(store: Store, access: Access) -> str:
    """Over TLS the name binds the cookie to this very host."""
    return _cookie_name(store, secure=_secure(access))


def _cookie_name(store: Store, *, secure: bool) -> str:
    return store.cookie("__Host-evenfoot" if secure else "evenfoot-session")


def _sign_in_page(store: Store, access: Access, then: str, told: str = "", status: int = 200) -> Answer:
    seed = request.cookies.get(store.cookie(FORM_COOKIE)) or secrets.token_urlsafe(24)
    name = request.form.get("name", "") if request.method == "POST" else ""
    left = store.cookie(LEFT_COOKIE) in request.cookies
    page = door_pages.sign_in(
        then, _form_word(store, seed), told, name[: people.LONGEST_NAME], _elsewhere(), wipes=left
    )
    answer = _page(page, status)
    if left:
        answer.headers["Content-Security-Policy"] = f"{PAGE_POLICY}; script-src 'self'"
    answer.set_cookie(store.cookie(FORM_COOKIE), seed, secure=_secure(access), httponly=True, samesite="Strict")
    return answer


def _code_page(store: Store, access: Access, then: str, ticket: str, told: str = "", status: int = 200) -> Answer:
    seed = request.cookies.get(store.cookie(FORM_COOKIE)) or secrets.token_urlsafe(24)
    answer = _page(door_pages.second_step(then, _form_word(store, seed), ticket, told), status)
    answer.set_cookie(store.cookie(FORM_COOKIE), seed, secure=_secure(access), httponly=True, samesite="Strict")
    return answer


def _wait(answer: Answer, seconds: float) -> Answer:
    answer.headers["Retry-After"] = str(int(seconds) + 1)
    return answer


def refused_sign_in(store: Store, access: Access, told_so: str) -> Answer:
    """The sign-in page again, with a sentence why."""
    return _sign_in_page(store, access, "/", told_so, 403)


def _form_is_ours(store: Store) -> bool:
    seed, sent = request.cookies.get(store.cookie(FORM_COOKIE)), request.form.get("word", "")
    return bool(seed) and hmac.compare_digest(sent.encode(), _form_word(store, seed or "").encode())


def _form_word(store: Store, seed: str) -> str:
    return hmac.new(store.secret(), f"sign in {seed}".encode(), sha256).hexdigest()


def _elsewhere() -> str:
    """The name of the office's own sign-in, where there is one."""
    from flask import current_app

    return str(current_app.config.get("EVENFOOT_SIGN_IN_NAME", ""))


def _account_page(store: Store, viewer: Viewer, told: str = "", status: int = 200) -> Answer:
    assert viewer.account is not None
    _, kept = people.password_of(store, viewer.name)
    made = links.listed(store, viewer) if viewer.may("share reports") else []
    return _page(
        door_pages.account(
            viewer,
            sessions.form_word(g.token),
            sessions.listed(store, viewer.account),
            sessions.mark_of(g.token),
            made,
            told,
            has_password=kept is not None,
            recovery_codes=second_factor.recovery_codes_left(store, viewer.account)
            if second_factor.in_use(store, viewer.account)
            else None,
            now=store.clock(),
            lines=history.newest(store, SHOWN_LINES) if viewer.allowed is None else (),
        ),
        status,
    )


def _page(text: str, status: int = 200) -> Answer:
    answer = Response(text, status=status, mimetype="text/html")
    answer.headers["Content-Security-Policy"] = PAGE_POLICY
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _forgotten(store: Store, access: Access) -> Answer:
    answer = redirect("/login", 303)
    secure = _secure(access)
    answer.delete_cookie(_cookie(store, access), secure=secure, httponly=True, samesite="Lax", path="/")
    answer.delete_cookie(store.cookie(CSRF_COOKIE), secure=secure, samesite="Strict")
    answer.set_cookie(
        store.cookie(LEFT_COOKIE), "1", max_age=LEFT_SECONDS, secure=secure, httponly=True, samesite="Strict"
    )
    # The storage is not cleared here: records of the chute that were not sent are in it, and must not be lost.
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer
