"""Reports by e-mail, through the user's own mail server and never without TLS."""

from __future__ import annotations

import mimetypes
import os
import re
import smtplib
import ssl
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.utils import formatdate, make_msgid
from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.measures.lameness.summary import summary
from evenfoot.analytics.queries.selection import Selection
from evenfoot.dashboard.charts.verdicts import verdict_sentences
from evenfoot.dashboard.i18n.translation import Words

TLS_PORT = 465
"""Port on which a server speaks TLS from the first byte; on others the talk is turned to TLS before anything is said
[pub: RFC 8314]."""

SECONDS = 60
SETTINGS = "EVENFOOT_SMTP_HOST, EVENFOOT_SMTP_PORT, EVENFOOT_SMTP_USER, EVENFOOT_SMTP_PASSWORD, EVENFOOT_MAIL_FROM"

_ADDRESS = re.compile(r"[^@\s,;<>\"]+@[^@\s,;<>\"]+\.[^@\s,;<>\"]+")


@dataclass(frozen=True)
class MailServer:
    """Where mail goes out, and from whom."""

    host: str
    sender: str
    port: int = TLS_PORT
    user: str = ""
    password: str = field(default="", repr=False)


def mail_server(environment: Mapping[str, str] | None = None) -> MailServer:
    """The mail server that the environment names.

    Raises
    ------
    UserError
        A setting is missing or cannot be right.
    """
    said = os.environ if environment is None else environment
    host, sender = said.get("EVENFOOT_SMTP_HOST", "").strip(), said.get("EVENFOOT_MAIL_FROM", "").strip()
    if not host or not sender:
        raise UserError(f"Mail needs EVENFOOT_SMTP_HOST and EVENFOOT_MAIL_FROM; the settings are {SETTINGS}.")
    port = said.get("EVENFOOT_SMTP_PORT", str(TLS_PORT)).strip()
    if not port.isascii() or not port.isdigit() or not 0 < int(port) < 65536:
        raise UserError(f"EVENFOOT_SMTP_PORT is '{port}'; give a port number, such as {TLS_PORT} or 587.")
    return MailServer(
        host,
        checked_address(sender),
        int(port),
        said.get("EVENFOOT_SMTP_USER", "").strip(),
        said.get("EVENFOOT_SMTP_PASSWORD", ""),
    )


def checked_address(address: str) -> str:
    """An address that can be one.

    Raises
    ------
    UserError
        It cannot.

    Examples
    --------
    >>> checked_address(" ann@example.org ")
    'ann@example.org'
    """
    address = address.strip()
    if not _ADDRESS.fullmatch(address):
        raise UserError(f"'{address}' is not a mail address; write one such as ann@example.org.")
    return address


def message(sender: str, to: Sequence[str], subject: str, text: str, files: Sequence[Path]) -> EmailMessage:
    """A message with files attached."""
    mail = EmailMessage()
    mail["From"] = sender
    mail["To"] = ", ".join(to)
    mail["Subject"] = " ".join(subject.split())
    mail["Date"] = formatdate(localtime=True)
    mail["Message-ID"] = make_msgid(domain=sender.rpartition("@")[2])
    mail.set_content(text)
    for path in files:
        kind = mimetypes.guess_type(path.name)[0] or "application/octet-stream"
        main, _, sub = kind.partition("/")
        mail.add_attachment(path.read_bytes(), maintype=main, subtype=sub, filename=path.name)
    return mail


def mail_text(ledger: Ledger, farm: str, words: Words) -> str:
    """What a mail says: that the report is attached, and the verdicts of the summary."""
    attached = words("The newest report on the feet of the herd of {farm} is attached.", farm=farm)
    verdicts = verdict_sentences(summary(ledger, Selection(farms=(farm,))).table, words)
    return "\n\n".join([attached, *verdicts])


def send(server: MailServer, mail: EmailMessage) -> None:
    """Hand a message to the server, over TLS with its certificate checked.

    Raises
    ------
    UserError
        The server cannot be reached, has no valid certificate or no TLS, or does not take the message.
    """
    safe = ssl.create_default_context()
    try:
        if server.port == TLS_PORT:
            with smtplib.SMTP_SSL(server.host, server.port, timeout=SECONDS, context=safe) as talk:
                _hand_over(talk, server, mail)
        else:
            with smtplib.SMTP(server.host, server.port, timeout=SECONDS) as talk:
                talk.starttls(context=safe)
                _hand_over(talk, server, mail)
    except smtplib.SMTPAuthenticationError:
        raise UserError(f"{server.host} did not take the user and password; check EVENFOOT_SMTP_USER.") from None
    except (smtplib.SMTPException, ssl.SSLError, OSError) as error:
        raise UserError(f"The mail to {mail['To']} was not sent by {server.host} ({error}).") from None


def _hand_over(talk: smtplib.SMTP, server: MailServer, mail: EmailMessage) -> None:
    if server.user:
        talk.login(server.user, server.password)
    talk.send_message(mail)
