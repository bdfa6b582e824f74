"""How the dashboard is reached: by which names, through which proxy, and whether everybody must sign in."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Sequence
from dataclasses import dataclass

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.auth.store import Store

LOOPBACK_NAMES = frozenset({"localhost", "127.0.0.1", "::1"})
"""Names a browser on this machine may use. A name that another site points here (DNS rebinding) is none of
them."""

SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
"""Methods of a request that change nothing."""

_NAME = re.compile(r"[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*")


@dataclass(frozen=True)
class Access:
    """How one server is reached.

    Parameters
    ----------
    names : frozenset of str
        Names the server answers to, lower case, without ports.
    behind_proxy : bool
        Whether a proxy in front of it ends TLS; every cookie is then for TLS only.
    open_here : bool
        Whether nobody need sign in while there is no account: on this machine alone.
    """

    names: frozenset[str] = LOOPBACK_NAMES
    behind_proxy: bool = False
    open_here: bool = True


def is_loopback(host: str) -> bool:
    """Whether only this machine can reach an address.

    Examples
    --------
    >>> [is_loopback(host) for host in ("localhost", "127.0.0.1", "[::1]", "0.0.0.0", "barn.example")]
    [True, True, True, False, False]
    """
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host.strip("[]")).is_loopback
    except ValueError:
        return False


def access(host: str, store: Store, *, behind_proxy: bool = False, public_names: Sequence[str] = ()) -> Access:
    """Decide how a server may be reached, or refuse to serve.

    Parameters
    ----------
    host : str
        Address to listen on.
    store : Store
    behind_proxy : bool
        Whether a proxy that ends TLS stands in front.
    public_names : sequence of str
        Names under which people reach it.

    Raises
    ------
    UserError
        Other machines could reach the records and there are no accounts, or no name to answer to.
    """
    names = frozenset(_checked(name) for name in public_names)
    if is_loopback(host) and not behind_proxy:
        if names:
            raise UserError("--public-name goes with --behind-proxy, or with a --host that other machines can reach.")
        return Access()
    if not store.in_use:
        where = f"Serving on {host}" if not behind_proxy else "Serving behind a proxy"
        raise UserError(
            f"{where} would show the records to other machines, and there are no accounts yet to say who may see "
            "them; make one with `evenfoot accounts add NAME --role owner`, or use --host 127.0.0.1."
        )
    if behind_proxy:
        if not names:
            raise UserError("Give the name people reach it by, such as --public-name herd.example.org.")
        return Access(names, behind_proxy=True, open_here=False)
    if not names and _is_every_address(host):
        raise UserError(f"On {host} give the name or address people type, such as --public-name 192.168.1.20.")
    return Access(names | {host.strip("[]").casefold()} | LOOPBACK_NAMES, open_here=False)


def _is_every_address(host: str) -> bool:
    try:
        return ipaddress.ip_address(host.strip("[]")).is_unspecified
    except ValueError:
        return False


def _checked(name: str) -> str:
    plain = name.strip().strip("[]").casefold()
    try:
        return str(ipaddress.ip_address(plain))
    except ValueError:
        if len(plain) > 253 or not _NAME.fullmatch(plain):
            raise UserError(f"'{name}' is not a name of a machine; give it alone, such as herd.example.org.") from None
        return plain
