"""Mail goes out over checked TLS or not at all; what is sent is what was written."""

from __future__ import annotations

import smtplib
import ssl
from email.message import EmailMessage
from pathlib import Path
from typing import Any

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.cli.report import report_every
from evenfoot.dashboard.report import mail
from evenfoot.dashboard.report.mail import MailServer, checked_address, mail_server, message, send
from tests.report.made import herd

SETTINGS = {"EVENFOOT_SMTP_HOST": "mail.example.org", "EVENFOOT_MAIL_FROM": "trimmer@example.org"}


class Post:
    """Stands for a mail server: notes the order of what is asked of it."""

    log: list[str]
    got: list[EmailMessage]
    context: ssl.SSLContext | None
    fail: type[Exception] | None = None

    def __init__(self, host: str, port: int, timeout: float, context: ssl.SSLContext | None = None) -> None:
        Post.log.append(f"connect {host}:{port}{' tls' if context else ''}")
        Post.context = context
        if Post.fail is OSError:
            raise OSError("unreachable")

    def __enter__(self) -> Post:
        return self

    def __exit__(self, *args: object) -> None:
        Post.log.append("quit")

    def starttls(self, context: ssl.SSLContext) -> None:
        Post.log.append("starttls")
        Post.context = context
        if Post.fail is smtplib.SMTPNotSupportedError:
            raise smtplib.SMTPNotSupportedError("no TLS here")

    def login(self, user: str, password: str) -> None:
        Post.log.append(f"login {user}")
        if Post.fail is smtplib.SMTPAuthenticationError:
            raise smtplib.SMTPAuthenticationError(535, b"no")

    def send_message(self, sent: EmailMessage) -> None:
        Post.log.append("send")
        Post.got.append(sent)


@pytest.fixture
def post(monkeypatch: pytest.MonkeyPatch) -> type[Post]:
    Post.log, Post.got, Post.context, Post.fail = [], [], None, None
    monkeypatch.setattr(mail.smtplib, "SMTP", Post)
    monkeypatch.setattr(mail.smtplib, "SMTP_SSL", Post)
    return Post


def letter(tmp_path: Path) -> EmailMessage:
    report = tmp_path / "home-farm.pdf"
    report.write_bytes(b"%PDF-1.7 body")
    return message("a@example.org", ["b@example.org"], "Foot report,\r\nBcc: x@evil.org", "See the report.", [report])


def test_a_message_carries_the_file_and_its_subject_is_one_line(tmp_path: Path) -> None:
    sent = letter(tmp_path)
    assert sent["Subject"] == "Foot report, Bcc: x@evil.org"
    assert sent["Bcc"] is None
    [attached] = list(sent.iter_attachments())
    assert attached.get_filename() == "home-farm.pdf"
    assert attached.get_content_type() == "application/pdf"
    assert attached.get_content() == b"%PDF-1.7 body"


@pytest.mark.parametrize(
    ("port", "steps"),
    [
        (465, ["connect mail.example.org:465 tls", "login ann", "send", "quit"]),
        (587, ["connect mail.example.org:587", "starttls", "login ann", "send", "quit"]),
    ],
)
def test_nothing_is_said_before_tls_and_the_certificate_is_checked(
    tmp_path: Path, post: type[Post], port: int, steps: list[str]
) -> None:
    send(MailServer("mail.example.org", "a@example.org", port, "ann", "secret"), letter(tmp_path))
    assert post.log == steps
    assert post.context is not None
    assert post.context.verify_mode is ssl.CERT_REQUIRED
    assert post.context.check_hostname


@pytest.mark.parametrize("failure", [OSError, smtplib.SMTPNotSupportedError, smtplib.SMTPAuthenticationError])
def test_trouble_is_one_sentence_and_never_the_password(
    tmp_path: Path, post: type[Post], failure: type[Exception]
) -> None:
    post.fail = failure
    server = MailServer("mail.example.org", "a@example.org", 587, "ann", "secret")
    with pytest.raises(UserError) as told:
        send(server, letter(tmp_path))
    assert "secret" not in str(told.value) + repr(server)
    assert post.got == []


@pytest.mark.parametrize(
    "wrong",
    [
        {"EVENFOOT_SMTP_HOST": ""},
        {"EVENFOOT_MAIL_FROM": "nobody"},
        {"EVENFOOT_SMTP_PORT": "many"},
        {"EVENFOOT_SMTP_PORT": "0"},
    ],
    ids=str,
)
def test_settings_that_cannot_be_are_named(wrong: dict[str, str]) -> None:
    with pytest.raises(UserError):
        mail_server({**SETTINGS, **wrong})
    assert mail_server(SETTINGS).port == 465


@pytest.mark.parametrize(
    "text", ["", "ann", "ann@", "ann@x", "a b@x.org", "a@x.org,b@x.org", "<a@x.org>", "a@x.org\nBcc: c@x.org"]
)
def test_what_is_no_address_is_refused(text: str) -> None:
    with pytest.raises(UserError, match="not a mail address"):
        checked_address(text)


def _every(tmp_path: Path, **options: Any) -> None:
    ledger = herd(tmp_path / "ledger.duckdb", "Home Farm", 3)
    report_every(
        ledger.name, tmp_path / "out", formats="html", mail_to=["farmer@example.org"], sections="summary", **options
    )


def test_a_report_is_mailed_in_its_language(
    tmp_path: Path, post: type[Post], monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, value in SETTINGS.items():
        monkeypatch.setenv(name, value)
    _every(tmp_path, language="es")
    [sent] = post.got
    assert sent["To"] == "farmer@example.org"
    assert sent["Subject"] == "Informe de pezuñas, Home Farm"
    assert [part.get_filename() for part in sent.iter_attachments()] == ["home-farm.html"]
    assert "Mailed the report of Home Farm to farmer@example.org" in capsys.readouterr().out


def test_a_dry_run_needs_no_server_and_sends_nothing(
    tmp_path: Path, post: type[Post], capsys: pytest.CaptureFixture[str]
) -> None:
    _every(tmp_path, dry_run=True)
    assert post.log == []
    assert "Would mail the report of Home Farm to farmer@example.org" in capsys.readouterr().out
    assert not (tmp_path / "out").exists()
