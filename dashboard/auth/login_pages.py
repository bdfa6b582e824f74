"""The pages of the door: signing in, and one's own account. Plain HTML; one script, after signing out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from html import escape
from typing import Any
from urllib.parse import urlencode

from evenfoot.analytics.messages import say
from evenfoot.dashboard.auth import history
from evenfoot.dashboard.auth.links import Link
from evenfoot.dashboard.auth.passwords import FEWEST_LETTERS
from evenfoot.dashboard.auth.roles import ROLES
from evenfoot.dashboard.auth.second_factor import app_address, spelled
from evenfoot.dashboard.auth.sessions import Session
from evenfoot.dashboard.auth.viewer import Viewer
from evenfoot.dashboard.charts.theme import DEFAULT_THEME, css_variables
from evenfoot.dashboard.i18n.translation import _, _n, told, words

WRONG = say("The name or the password is not right.")
WAIT = say("There were too many tries. Wait a little, then try again.")


def sign_in_address(then: str) -> str:
    """Where to sign in, coming back to *then*."""
    return "/login" if then in ("", "/") else "/login?" + urlencode({"next": then})


def revoked(farm: str) -> str:
    return _("The link to the report of {farm} leads nowhere now.", farm=farm)


def sign_in(then: str, word: str, told: str, name: str, elsewhere: str, *, wipes: bool = False) -> str:
    """The sign-in page.

    Parameters
    ----------
    then : str
        Path to go on to.
    word : str
        What shows that the form is ours.
    told : str
        A sentence about the last try, or nothing.
    name : str
        The name typed at the last try.
    elsewhere : str
        The name of the office's own sign-in, or nothing.
    wipes : bool
        Whether somebody has signed out here just now: then what the browser has loaded is wiped.
    """
    other = (
        f'<p><a class="act" href="/sign-in/start?{escape(urlencode({"next": then}), quote=True)}">'
        f"{escape(_('Sign in with {service}', service=elsewhere))}</a></p>"
        if elsewhere
        else ""
    )
    body = f"""<h1>{escape(_("Sign in"))}</h1>{_wiping() if wipes else ""}{_told(told)}
<form method="post" action="/login" class="panel door">
{_hidden(word=word, next=then)}
<label for="name">{escape(_("Name"))}</label>
<input id="name" name="name" value="{escape(name, quote=True)}" autocomplete="username" autocapitalize="none"
 spellcheck="false" required maxlength="64"{"" if name else " autofocus"}>
<label for="password">{escape(_("Password"))}</label>
<input id="password" name="password" type="password" autocomplete="current-password" required maxlength="256"
{" autofocus" if name else ""}>
<button class="act">{escape(_("Sign in"))}</button>
</form>{other}
<p class="basis">{escape(_("No account, or the password forgotten? Ask the owner of the ledger."))}</p>"""
    return _page(_("Sign in"), body)


def _wiping() -> str:
    """The script that wipes the browser, and room for what it tells."""
    unsent = _(
        "Signed out. Records not sent: {n}. They alone stay on this device. Sign in again on the chute page to send "
        "them or to save them as a file.",
        n="{n}",
    )
    failed = _(
        "Signed out, but herds may still be on this device: the browser did not let them be taken off. Clear this "
        "site's data in the browser's settings."
    )
    return (
        f'<section id="unsent" class="panel door" role="status" hidden data-unsent="{escape(unsent, quote=True)}" '
        f'data-failed="{escape(failed, quote=True)}"><p></p>'
        f'<a class="act" href="/chute" hidden>{escape(_("To the chute page"))}</a></section>'
        '<script type="module" src="/chute/signed-out.js"></script>'
    )


def second_step(then: str, word: str, ticket: str, told: str) -> str:
    """The page that asks for the second factor, once the password was right.

    Parameters
    ----------
    then : str
        Path to go on to.
    word : str
        What shows that the form is ours.
    ticket : str
        What shows that the password was right.
    told : str
        A sentence about the last try, or nothing.
    """
    body = f"""<h1>{escape(_("Sign in"))}</h1>{_told(told)}
<form method="post" action="/login/code" class="panel door">
{_hidden(word=word, ticket=ticket, next=then)}
{_code_field(_("The code of your app, or a recovery code"))}
<button class="act">{escape(_("Go on"))}</button>
</form>
<p class="basis">{escape(_("Telephone and recovery codes lost? Ask the owner of the ledger."))}</p>"""
    return _page(_("Sign in"), body)


def second_factor(viewer: Viewer, word: str, secret: bytes, signed: str, told: str) -> str:
    """The page that gives an app its secret and asks for a first code.

    Parameters
    ----------
    viewer : Viewer
    word : str
        The word of the session.
    secret : bytes
    signed : str
        The secret as it comes back with the form.
    told : str
        A sentence about the last try, or nothing.
    """
    address = escape(app_address(secret, viewer.name), quote=True)
    body = f"""<h1>{escape(_("Second factor"))}</h1>{_told(told)}
<form method="post" action="/account" class="panel door">
<p>{escape(_("Give this key to an app for one-time codes: type it in, or open the link on the telephone."))}</p>
<p><code>{escape(spelled(secret))}</code></p><p><a href="{address}">{escape(_("Open it in the app"))}</a></p>
{_hidden(word=word, act="confirm second factor", secret=signed)}
{_code_field(_("The code that the app shows now"))}
<button class="act">{escape(_("Ask for it from now on"))}</button></form>
<p><a href="/account">{escape(_("Leave everything as it was"))}</a></p>"""
    return _page(_("Second factor"), body)


def recovery_codes(viewer: Viewer, codes: Sequence[str]) -> str:
    """The page that shows the recovery codes, once."""
    rows = "".join(f"<li><code>{escape(code)}</code></li>" for code in codes)
    body = f"""<h1>{escape(_("Recovery codes"))}</h1>
<section class="panel door"><p>{escape(_("Write these codes down and keep them where the telephone is not."))}
{escape(_("Each signs you in once in place of the app, and they are not shown again."))}</p><ol>{rows}</ol>
<p><a href="/account">{escape(_("Back to the account"))}</a></p></section>"""
    return _page(viewer.name, body)


def account(
    viewer: Viewer,
    word: str,
    open_sessions: Sequence[Session],
    this_session: str,
    links: Sequence[Link],
    outcome: str,
    *,
    has_password: bool,
    recovery_codes: int | None,
    now: float,
    lines: Sequence[Mapping[str, Any]] = (),
) -> str:
    """One's own account: role, farms, password, second factor, sessions and links.

    Parameters
    ----------
    viewer : Viewer
    word : str
        The word of the session.
    open_sessions : sequence of Session
    this_session : str
        The mark of the one that asks.
    links : sequence of Link
    outcome : str
        A sentence about what was done, or nothing.
    has_password : bool
    recovery_codes : int, optional
        How many are left; ``None`` without a second factor.
    now : float
        Seconds since 1970.
    lines : sequence of mapping
        The newest of the accounts' history, for an owner; see :func:`evenfoot.dashboard.auth.history.newest`.
    """
    if viewer.allowed is None:
        farms = _("Farms: all.")
    else:
        farms = _("Farms: {farms}.", farms=", ".join(viewer.allowed)) if viewer.allowed else _("Farms: none yet.")
    times = _n("Signed in once", "Signed in {n} times", len(open_sessions))
    parts = [
        f"<h1>{escape(viewer.name)}</h1>{_told(outcome)}",
        f"<p><a href='/'>{escape(_('Back to the herd'))}</a></p><p>{escape(told(ROLES[viewer.role]))}</p>"
        f"<p>{escape(farms)}</p>",
        f"""<section class="panel door"><h2>{escape(times)}</h2>{_sessions(word, open_sessions, this_session)}
<form method="post" action="/logout">{_hidden(word=word)}<button class="act">{escape(_("Sign out"))}</button></form>
<form method="post" action="/account">{_hidden(word=word, act="sign out everywhere")}
<button class="take">{escape(_("Sign out everywhere"))}</button></form></section>""",
    ]
    if has_password:
        parts += [_password_form(word), _second_factor_form(word, recovery_codes)]
    if links:
        parts.append(_links(word, links, now))
    if lines:
        parts.append(_history(lines))
    return _page(viewer.name, "".join(parts))


def _password_form(word: str) -> str:
    fields = "".join(
        f'<label for="{name}">{escape(label)}</label><input id="{name}" name="{name}" type="password" '
        f'autocomplete="{kind}" required maxlength="256">'
        for name, label, kind in (
            ("password", _("The password you have now"), "current-password"),
            ("new", _("The new password, at least {n} letters", n=FEWEST_LETTERS), "new-password"),
            ("again", _("The new password again"), "new-password"),
        )
    )
    return (
        f'<form method="post" action="/account" class="panel door"><h2>{escape(_("Change the password"))}</h2>'
        f"{_hidden(word=word, act='change password')}{fields}"
        f'<p class="basis">{escape(_("You are signed out everywhere else."))}</p>'
        f'<button class="act">{escape(_("Change it"))}</button></form>'
    )


def _links(word: str, links: Sequence[Link], now: float) -> str:
    rows = [
        f"<tr><td>{escape(link.farm)}</td><td>{_day(link.made_at)}</td><td>{_day(link.ends_at)}</td>"
        f"<td>{escape(link.made_by or _('command'))}</td><td class='number'>{link.opened}</td>"
        f"<td>{_state(word, link, now)}</td></tr>"
        for link in links
    ]
    heads = (_("Farm"), _("Made"), _("Ends"), _("Made by"), _("Opened"), _("Now"))
    title = _("Links to reports")
    return f"<section class='panel door'><h2>{escape(title)}</h2>{_table(title, heads, rows)}</section>"


WHAT = {
    history.SIGNED_IN: say("signed in"),
    history.SIGNED_IN_ELSEWHERE: say("signed in by the office's own sign-in"),
    history.PASSWORD_WRONG: say("password wrong"),
    history.NAME_UNKNOWN: say("name unknown"),
    history.CODE_WRONG: say("code of the second factor wrong"),
    history.REFUSED: say("try refused, too many before"),
    history.REFUSED_ELSEWHERE: say("sign-in elsewhere refused, no such account"),
    "password changed": say("password changed"),
    "signed out everywhere": say("signed out everywhere"),
    "second factor begun": say("second factor begun"),
    "second factor ended": say("second factor ended"),
    "recovery code used": say("recovery code used"),
    "farm granted": say("farm granted"),
    "farm taken away": say("farm taken away"),
    "account removed": say("account removed"),
    "link revoked": say("link revoked"),
    "farm erased": say("farm erased"),
    **{f"role changed to {role}": say("role changed: {role}", role=role) for role in ROLES},
    **{f"account made, {role}": say("account made: {role}", role=role) for role in ROLES},
}
"""What lines of the history say. Others stay as they are."""


def _history(lines: Sequence[Mapping[str, Any]]) -> str:
    rows = []
    for line in lines:
        what = told(WHAT[line["what"]]) if line["what"] in WHAT else line["what"]
        what += f" ({line['farm']})" if line["farm"] else ""
        of = "" if line["subject"] == history.NO_ACCOUNT else line["subject"].removeprefix("account ")
        who = _("nobody signed in") if line["who"] == history.NOBODY else line["who"]
        cells = (_moment(line["noted_at"]), who, what, of, line["address"])
        rows.append("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in cells) + "</tr>")
    title = _("Who signed in, and what was changed")
    heads = (_("When"), _("Who"), _("What"), _("Of"), _("Address"))
    return f"<section class='panel door'><h2>{escape(title)}</h2>{_table(title, heads, rows)}</section>"


def _sessions(word: str, open_sessions: Sequence[Session], this_session: str) -> str:
    """Every session: from where, since when, and a button that ends it."""
    rows = []
    for session in open_sessions:
        browser = browser_words(session.browser)
        label = escape(_("End the session of {browser}, begun {day}", browser=browser, day=_day(session.made_at)))
        ending = (
            f'<form method="post" action="/account">{_hidden(word=word, act="end session", session=session.mark)}'
            f'<button class="take" aria-label="{label}">{escape(_("End it"))}</button></form>'
        )
        rows.append(
            f"<tr><td>{escape(browser)}</td><td>{escape(session.address)}</td><td>{_moment(session.made_at)}</td>"
            f"<td>{_moment(session.seen_at)}</td>"
            f"<td>{escape(_('this one')) if session.mark == this_session else ending}</td></tr>"
        )
    heads = (_("Browser"), _("Address"), _("Begun"), _("Last used"), _("Now"))
    return _table(_("Sessions"), heads, rows)


BROWSERS = {"Edg": "Edge", "OPR": "Opera", "SamsungBrowser": "Samsung Internet", "Firefox": "Firefox",
            "FxiOS": "Firefox", "Chrome": "Chrome", "CriOS": "Chrome", "Safari": "Safari"}  # fmt: skip
SYSTEMS = {"Android": "Android", "iPhone": "iPhone", "iPad": "iPad", "Windows": "Windows", "Mac OS X": "macOS",
           "Linux": "Linux"}  # fmt: skip
"""What browsers say of themselves, the more particular before what others say as well. [from memory]"""


def browser_words(said: str) -> str:
    """A browser in two words, from what it says of itself.

    Examples
    --------
    >>> browser_words("Mozilla/5.0 (X11; Linux x86_64; rv:140.0) Gecko/20100101 Firefox/140.0")
    'Firefox, Linux'
    """
    found = [next((name for mark, name in of.items() if mark in said), "") for of in (BROWSERS, SYSTEMS)]
    return ", ".join(filter(None, found)) or _("another program")


def _second_factor_form(word: str, recovery_codes: int | None) -> str:
    """Begin with a second factor, or end it."""
    if recovery_codes is None:
        about, act = _("A code of an app on the telephone is asked for beside the password."), "begin second factor"
        button, code = _("Set it up"), ""
    else:
        about = _n(
            "It is asked for. {n} recovery code is left.", "It is asked for. {n} recovery codes are left.",
            recovery_codes,
        )  # fmt: skip
        act, button = "end second factor", _("Ask for the password alone")
        code = _code_field(_("The code of your app, or a recovery code"), focus=False)
    return (
        f'<form method="post" action="/account" class="panel door"><h2>{escape(_("Second factor"))}</h2>'
        f'<p class="basis">{escape(about)}</p>{_hidden(word=word, act=act)}'
        f'<label for="again-password">{escape(_("The password you have now"))}</label>'
        '<input id="again-password" name="password" type="password" autocomplete="current-password" required '
        f'maxlength="256">{code}<button class="act">{escape(button)}</button></form>'
    )


def _code_field(label: str, *, focus: bool = True) -> str:
    return (
        f'<label for="code">{escape(label)}</label><input id="code" name="code" autocomplete="one-time-code" '
        f'autocapitalize="none" spellcheck="false" required maxlength="40"{" autofocus" if focus else ""}>'
    )


def _table(title: str, heads: Sequence[str], rows: Sequence[str]) -> str:
    columns = "".join(f"<th scope='col'>{escape(head)}</th>" for head in heads)
    return (
        f"<div class='scroll' tabindex='0' role='region' aria-label='{escape(title, quote=True)}'>"
        f"<table><thead><tr>{columns}</tr></thead><tbody>{''.join(rows)}</tbody></table></div>"
    )


def _state(word: str, link: Link, now: float) -> str:
    if link.revoked_at is not None:
        return escape(_("revoked {day}", day=_day(link.revoked_at)))
    if link.ends_at < now:
        return escape(_("ended"))
    label = escape(_("Revoke the link to {farm}, made {day}", farm=link.farm, day=_day(link.made_at)), quote=True)
    return (
        f'<form method="post" action="/account">{_hidden(word=word, act="revoke link", link=link.id)}'
        f'<button class="take" aria-label="{label}">{escape(_("Revoke"))}</button></form>'
    )


def _day(seconds: float) -> str:
    return words().date(dt.datetime.fromtimestamp(seconds, dt.UTC).date())


def _moment(seconds: float) -> str:
    moment = dt.datetime.fromtimestamp(seconds, dt.UTC)
    return f"{words().date(moment.date())} {moment:%H:%M} UTC"


def _told(sentence: str) -> str:
    return f'<p class="mistake" role="alert">{escape(sentence)}</p>' if sentence else ""


def _hidden(**values: str) -> str:
    return "".join(
        f'<input type="hidden" name="{name}" value="{escape(value, quote=True)}">' for name, value in values.items()
    )


def _page(title: str, body: str) -> str:
    return f"""<!DOCTYPE html>
<html lang="{words().language}"><head><meta charset="utf-8"><title>{escape(title)} - Evenfoot</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="referrer" content="same-origin">
<style>:root{{{css_variables(DEFAULT_THEME)}}}</style><link rel="stylesheet" href="/assets/evenfoot.css"></head>
<body><div class="frame"><header class="bar"><span class="brand">Evenfoot</span></header><main>{body}</main></div>
</body>
</html>"""
