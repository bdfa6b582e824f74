"""Addresses of PostgreSQL ledgers, connecting to them, and saying in a sentence what went wrong."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, quote, unquote, urlencode, urlsplit

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.messages import say

if TYPE_CHECKING:
    import psycopg

CONNECT_SECONDS = 10
SECRETS = ("password", "sslpassword")


@dataclass(frozen=True)
class PostgresAddress:
    """Where a PostgreSQL ledger is.

    Attributes
    ----------
    url : str
        What the server's own library takes, with the password if one was given.
    shown : str
        The same without any password, for people.
    schema : str or None
        The schema that holds the ledger, from ``?schema=``; without it the database's usual one.
    """

    url: str
    shown: str
    schema: str | None = None

    @classmethod
    def read(cls, address: str) -> PostgresAddress:
        """Take an address apart: ``postgres://USER@HOST/DATABASE``, with ``?schema=NAME`` if wanted.

        The password is best left out of it: the PGPASSWORD variable or the user's ``.pgpass`` file serves.

        Raises
        ------
        UserError
            It is not such an address.
        """
        try:
            parts = urlsplit(address)
            _ = parts.port
        except ValueError:
            parts = None
        if parts is None or not parts.path.strip("/"):
            raise UserError(
                "The PostgreSQL address cannot be read; write it as postgres://USER@HOST/DATABASE, and the password "
                "in the PGPASSWORD variable."
            )
        options = dict(parse_qsl(parts.query))
        schema = options.pop("schema", None)
        if schema is not None and not re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]{0,62}", schema):
            raise UserError(f"'{schema}' is not a name of a schema; use letters, digits and underscores.")
        host = parts.netloc.rpartition("@")[2]
        user = parts.netloc.rpartition("@")[0].partition(":")[0]
        hidden = {key: value for key, value in options.items() if key not in SECRETS}
        if schema:
            hidden["schema"] = schema
        shown = _joined("postgres", f"{user}@{host}" if user else host, parts.path, urlencode(hidden, safe="/"))
        url = _joined("postgresql", parts.netloc, parts.path, urlencode(options, quote_via=quote))
        return cls(url, shown, schema)

    @property
    def database(self) -> str:
        return unquote(urlsplit(self.url).path.strip("/"))

    def connect(self) -> psycopg.Connection[Any]:
        """A new connection outside any transaction block.

        Raises
        ------
        UserError
            The server cannot be reached, does not let this user in, or the driver is not installed.
        """
        try:
            import psycopg
        except ImportError:
            raise UserError(
                "PostgreSQL ledgers need the package psycopg; install Evenfoot with its 'postgres' extra."
            ) from None
        options = "-c TimeZone=UTC" + (f" -c search_path={self.schema}" if self.schema else "")
        try:
            connection: psycopg.Connection[Any] = psycopg.connect(
                self.url,
                autocommit=True,
                connect_timeout=CONNECT_SECONDS,
                application_name="evenfoot",
                cursor_factory=psycopg.RawCursor,
                options=options,
            )
            return connection
        except psycopg.Error as error:
            raise explain(error, self, connecting=True) or UserError(f"{self.shown} cannot be opened.") from None


def _joined(scheme: str, place: str, path: str, query: str) -> str:
    """An address, with both strokes also where no host stands: then the server's library takes the usual one."""
    return f"{scheme}://{place}{path}" + (f"?{query}" if query else "")


def explain(
    error: psycopg.Error, place: PostgresAddress, *, connecting: bool = False, committing: bool = False
) -> UserError | None:
    """What went wrong, in a sentence without any password; ``None`` for what only a fault of the program can cause."""
    import psycopg

    text = str(error)
    state = error.sqlstate or ""
    name = place.shown
    if "password" in text or state.startswith("28") or "pg_hba.conf" in text:
        return UserError(
            f"The server did not let you in to {name}: check the user in the address and the password in the "
            "PGPASSWORD variable or the .pgpass file."
        )
    if state == "3D000" or re.search(r'database ".*" does not exist', text):
        return UserError(
            f"There is no database '{place.database}' on the server of {name}; have it made with "
            f"`createdb {place.database}`, or check the name."
        )
    if state == "3F000":
        return UserError(f"There is no schema '{place.schema}' in {name}; have it made, or check the name.")
    if state == "42501":
        return UserError(
            f"You may not do this in {name}: whoever keeps the database has to give your user the right to "
            "(to read: SELECT; to import: CREATE in the schema, or ownership of the tables)."
        )
    if state == "25006":
        return UserError(f"{name} is a copy that can only be read; import into the server it is copied from.")
    if state == "55P03":
        return UserError(f"The ledger {name} is being changed by somebody else; try again in a moment.")
    if state in ("40P01", "40001"):
        return UserError(f"Two changes of {name} were in each other's way and this one was taken back; try it again.")
    if state.startswith("53"):
        return UserError(f"The server of {name} has run out of room or connections; nothing was changed, try later.")
    if isinstance(error, psycopg.OperationalError) and connecting:
        return UserError(
            f"The server of {name} cannot be reached; check that it runs, and the host and port in the address."
        )
    if isinstance(error, psycopg.OperationalError) and committing:
        return UserError(
            say(
                "The server of {name} went away while it was keeping the change, which it may or may not have done. "
                "Look with `evenfoot imports` or `evenfoot history`, and try again if it is not there.",
                name=name,
            )
        )
    if isinstance(error, psycopg.OperationalError):
        return UserError(f"The server of {name} went away; what was not finished was not kept. Try again.")
    return None
