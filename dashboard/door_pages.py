"""The pages of the door: signing in, and one's own account. Plain HTML; no script runs on them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from html import escape
from urllib.parse import urlencode

from analytics.words import say
from dashboard.accounts.links import Link
from dashboard.accounts.passwords import FEWEST_LETTERS
from dashboard.accounts.roles import ROLES
from dashboard.accounts.viewer import Viewer
from dashboard.charts.theme import DEFAULT_THEME, css_variables
from dashboard.language import _, _n, told, words

WRONG = say("The name or the password is not right.")
WAIT = say("There were too many tries. Wait a little, then try again.")


def sign_in_address(then: str) -> str:
    """Where to sign in, coming back to *then*."""
    return "/login" if then in ("", "/") else "/login?" + urlencode({"next": then})


def revoked(farm: str) -> str:
    return _("The link to the report of {farm} leads nowhere now.", farm=farm)


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
        f"{escape(_('Sign in with {service}', service=elsewhere))}</a></p>"
        if elsewhere
        else ""
    )
    body = f"""<h1>{escape(_("Sign in"))}</h1>{_told(told)}
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


def account(
    viewer: Viewer,
    word: str,
    open_sessions: int,
    links: Sequence[Link],
    outcome: str,
    *,
    has_password: bool,
    now: float,
) -> str:
    """One's own account: role, farms, password, sessions and links."""
    if viewer.allowed is None:
        farms = _("Farms: all.")
    else:
        farms = _("Farms: {farms}.", farms=", ".join(viewer.allowed)) if viewer.allowed else _("Farms: none yet.")
    times = _n("Signed in once", "Signed in {n} times", open_sessions)
    parts = [
        f"<h1>{escape(viewer.name)}</h1>{_told(outcome)}",
        f"<p><a href='/'>{escape(_('Back to the herd'))}</a></p><p>{escape(told(ROLES[viewer.role]))}</p>"
        f"<p>{escape(farms)}</p>",
        f"""<section class="panel door"><h2>{escape(times)}</h2>
<form method="post" action="/logout">{_hidden(word=word)}<button class="act">{escape(_("Sign out"))}</button></form>
<form method="post" action="/account">{_hidden(word=word, act="sign out everywhere")}
<button class="take">{escape(_("Sign out everywhere"))}</button></form></section>""",
    ]
    if has_password:
        parts.append(_password_form(word))
    if links:
        parts.append(_links(word, links, now))
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
    rows = "".join(
        f"<tr><td>{escape(link.farm)}</td><td>{_day(link.made_at)}</td><td>{_day(link.ends_at)}</td>"
        f"<td>{escape(link.made_by or _('command'))}</td><td class='number'>{link.opened}</td>"
        f"<td>{_state(word, link, now)}</td></tr>"
        for link in links
    )
    heads = "".join(
        f"<th scope='col'>{escape(head)}</th>"
        for head in (_("Farm"), _("Made"), _("Ends"), _("Made by"), _("Opened"), _("Now"))
    )
    title = escape(_("Links to reports"), quote=True)
    return (
        f"<section class='panel door'><h2>{title}</h2>"
        f"<div class='scroll' tabindex='0' role='region' aria-label='{title}'>"
        f"<table><thead><tr>{heads}</tr></thead><tbody>{rows}</tbody></table></div>"
        "</section>"
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
