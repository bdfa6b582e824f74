"""The mail button is there where mail is set up; it sends the report and keeps the farm's address."""

from __future__ import annotations

from email.message import EmailMessage
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.auth import Store, Viewer, letterheads
from evenfoot.dashboard.auth.roles import ADVISER
from evenfoot.dashboard.auth.viewer import OWNER
from evenfoot.dashboard.pages import report_mail
from evenfoot.dashboard.report import printing
from evenfoot.dashboard.report.browser import ENVIRONMENT
from evenfoot.dashboard.report.request import Request
from tests.report.made import herd

SET_UP = {"EVENFOOT_SMTP_HOST": "mail.example.org", "EVENFOOT_MAIL_FROM": "trimmer@example.org"}


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[EmailMessage]:
    for name, value in SET_UP.items():
        monkeypatch.setenv(name, value)
    out: list[EmailMessage] = []
    monkeypatch.setattr(report_mail, "send", lambda server, letter: out.append(letter))
    return out


def test_the_button_is_there_where_mail_is_set_up(monkeypatch: pytest.MonkeyPatch, sent: list[EmailMessage]) -> None:
    assert "mail-send" in str(report_mail.section())
    monkeypatch.setattr(report_mail, "current_viewer", lambda: Viewer("Ada", ("Ash",), ADVISER, 3))
    assert report_mail.section() == []
    monkeypatch.undo()
    assert report_mail.section() == []


def test_the_report_goes_as_pdf_and_the_address_is_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sent: list[EmailMessage]
) -> None:
    monkeypatch.setattr(printing, "print_pdf", lambda draft, out: out.write_bytes(b"%PDF"))
    ledger, store = herd(tmp_path / "l.duckdb", "Home Farm", 12, lesions=2), Store(tmp_path / "a.sqlite")
    request = Request("Home Farm", remarks="Well kept.")
    said = report_mail.mailed(ledger, store, request, " ann@example.org ")
    assert said == "home-farm.pdf was mailed to ann@example.org."
    [letter] = sent
    [file] = letter.iter_attachments()
    assert letter["To"] == "ann@example.org" and file.get_content() == b"%PDF"
    assert letterheads.kept(store, OWNER, "Home Farm").mail == "ann@example.org"
    monkeypatch.undo()
    for name, value in {**SET_UP, ENVIRONMENT: "no-such-browser"}.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(report_mail, "send", lambda server, letter: sent.append(letter))
    assert "home-farm.html was mailed" in report_mail.mailed(ledger, store, request, "ann@example.org")
    [page] = sent[1].iter_attachments()
    assert "Well kept." in page.get_content()


def test_what_cannot_be_mailed_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, sent: list[EmailMessage]
) -> None:
    ledger, store = herd(tmp_path / "l.duckdb", "Home Farm", 3), Store(tmp_path / "a.sqlite")
    with pytest.raises(UserError, match="not a mail address"):
        report_mail.mailed(ledger, store, Request("Home Farm"), "ann@example.org, bob@example.org")
    monkeypatch.setattr(report_mail, "current_viewer", lambda: Viewer("Ada", ("Home Farm",), ADVISER, 3))
    with pytest.raises(UserError, match="may not share"):
        report_mail.mailed(ledger, store, Request("Home Farm"), "ann@example.org")
    assert sent == []
