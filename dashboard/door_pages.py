"""The pages of the door: signing in, and one's own account. Plain HTML; no script runs on them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from html import escape
from urllib.parse import urlencode

from dashboard.accounts.links import Link
from dashboard.accounts.passwords import FEWEST_LETTERS
from dashboard.accounts.roles import ROLES
from dashboard.accounts.viewer import Viewer
from dashboard.charts.theme import DEFAULT_THEME, css_variables

WRONG = "The name or the password is not right."
WAIT = "There were too many tries. Wait a little, then try again."


def sign_in_address(then: str) -> str:
    """Where to sign in, coming back to *then*."""
    return "/login" if then in ("", "/") else "/login?" + urlencode({"next": then})


def revoked(farm: str) -> str:
    return f"The link to the report of {farm} leads nowhere now."


def sign_in(then: str, word: str, told: str, name: str, elsewhere: str) -> str:
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
    """
    other = (
        f'<p><a class="act" href="/sign-in/start?{escape(urlencode({"next": then}), quote=True)}">'
        f"{escape(f'Sign in with {elsewhere}')}</a></p>"
        if elsewhere
        else ""
    )
    body = f"""<h1>Sign in</h1>{_told(told)}
<form method="post" action="/login" class="panel door">
{_hidden(word=word, next=then)}
<label for="name">Name</label>
<input id="name" name="name" value="{escape(name, quote=True)}" autocomplete="username" autocapitalize="none"
 spellcheck="false" required maxlength="64"{"" if name else " autofocus"}>
<label for="password">Password</label>
<input id="password" name="password" type="password" autocomplete="current-password" required maxlength="256"
{" autofocus" if name else ""}>
<button class="act">Sign in</button>
</form>{other}
<p class="basis">No account, or the password forgotten? Ask the owner of the ledger.</p>"""
    return _page("Sign in", body)


def account(
    viewer: Viewer,
    word: str,
    open_sessions: int,
    links: Sequence[Link],
    told: str,
    *,
    has_password: bool,
    now: float,
) -> str:
    """One's own account: role, farms, password, sessions and links."""
    farms = "every farm" if viewer.allowed is None else ", ".join(viewer.allowed) or "no farm yet"
    times = "once" if open_sessions == 1 else f"{open_sessions} times"
    parts = [
        f"<h1>{escape(viewer.name)}</h1>{_told(told)}",
        f"<p><a href='/'>Back to the herd</a></p><p>{escape(_capital(ROLES[viewer.role]))}.</p>"
        f"<p>Farms: {escape(farms)}.</p>",
        f"""<section class="panel door"><h2>Signed in {times}</h2>
<form method="post" action="/logout">{_hidden(word=word)}<button class="act">Sign out</button></form>
<form method="post" action="/account">{_hidden(word=word, act="sign out everywhere")}
<button class="take">Sign out everywhere</button></form></section>""",
    ]
    if has_password:
        parts.append(_password_form(word))
    if links:
        parts.append(_links(word, links, now))
    return _page(viewer.name, "".join(parts))


def _password_form(word: str) -> str:
    fields = "".join(
        f'<label for="{name}">{label}</label><input id="{name}" name="{name}" type="password" autocomplete="{kind}" '
        'required maxlength="256">'
        for name, label, kind in (
            ("password", "The password you have now", "current-password"),
            ("new", f"The new password, at least {FEWEST_LETTERS} letters", "new-password"),
            ("again", "The new password again", "new-password"),
        )
    )
    return (
        f'<form method="post" action="/account" class="panel door"><h2>Change the password</h2>'
        f"{_hidden(word=word, act='change password')}{fields}"
        '<p class="basis">You are signed out everywhere else.</p><button class="act">Change it</button></form>'
    )


def _links(word: str, links: Sequence[Link], now: float) -> str:
    rows = "".join(
        f"<tr><td>{escape(link.farm)}</td><td>{_day(link.made_at)}</td><td>{_day(link.ends_at)}</td>"
        f"<td>{escape(link.made_by) or 'command'}</td><td class='number'>{link.opened}</td>"
        f"<td>{_state(word, link, now)}</td></tr>"
        for link in links
    )
    heads = "".join(f"<th scope='col'>{head}</th>" for head in ("Farm", "Made", "Ends", "Made by", "Opened", "Now"))
    return (
        f"<section class='panel door'><h2>Links to reports</h2><div class='scroll' tabindex='0' role='region' "
        f"aria-label='Links to reports'><table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
        "</section>"
    )


def _state(word: str, link: Link, now: float) -> str:
    if link.revoked_at is not None:
        return f"revoked {_day(link.revoked_at)}"
    if link.ends_at < now:
        return "ended"
    label = escape(f"Revoke the link to {link.farm}, made {_day(link.made_at)}", quote=True)
    return (
        f'<form method="post" action="/account">{_hidden(word=word, act="revoke link", link=link.id)}'
        f'<button class="take" aria-label="{label}">Revoke</button></form>'
    )


def _day(seconds: float) -> str:
    return f"{dt.datetime.fromtimestamp(seconds, dt.UTC):%d %b %Y}"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _told(sentence: str) -> str:
    return f'<p class="mistake" role="alert">{escape(sentence)}</p>' if sentence else ""


def _hidden(**values: str) -> str:
    return "".join(
        f'<input type="hidden" name="{name}" value="{escape(value, quote=True)}">' for name, value in values.items()
    )


def _page(title: str, body: str) -> str:
    return f"""<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>{escape(title)} - Evenfoot</title>
<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="referrer" content="same-origin">
<style>:root{{{css_variables(DEFAULT_THEME)}}}</style><link rel="stylesheet" href="/assets/evenfoot.css"></head>
<body><div class="frame"><header class="bar"><span class="brand">Evenfoot</span></header><main>{body}</main></div>
</body>
</html>"""
