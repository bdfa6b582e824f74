"""What an address asks for, by whoever asks, in the language it is asked in."""

from __future__ import annotations

from flask import has_request_context

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.auth import current_viewer
from evenfoot.dashboard.i18n.reader_settings import asked_for
from evenfoot.dashboard.i18n.translation import speak, told
from evenfoot.dashboard.ui.period_filter import following
from evenfoot.dashboard.ui.view import View


def addressed(path: str | None, search: str | None, narrow: bool = False) -> tuple[View, str]:
    """The view of an address, and what is wrong with the address in one sentence (empty where nothing is)."""
    allowed = current_viewer().allowed
    if has_request_context():
        speak(asked_for(search or ""))
    try:
        view = View.read(path or "/", search or "", allowed, narrow)
        following(view)
        return view, ""
    except UserError as mistake:
        return View.read(path or "/", "", allowed), told(mistake.sentence)
