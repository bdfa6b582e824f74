"""Memory of a server that runs for weeks: what is free is given back to the system.

The usual C library of Linux keeps a heap of its own for each of a server's threads, and what is freed between pieces
still in use stays with the process. Elsewhere nothing is done.
"""

from __future__ import annotations

import contextlib
import ctypes
import functools
import os
import sys
import threading
import time
from typing import Any

HEAPS = 2
"""So many for all threads. Python runs one thread at a time; the engine has its own. [common practice, no source]"""

SHARE = 0.75
"""Of the machine's memory that the server may have. [common practice, no source]"""

EVERY = 30.0
"""Seconds at least between two times of giving back. [common practice, no source]"""

_M_ARENA_MAX = -8  # [pub: malloc.h of the GNU C library]

_guard = threading.Lock()
_last = 0.0


def keep_together() -> bool:
    """Let all threads share a few heaps; call it before they begin. Gives whether the system can do it."""
    library = _library()
    return library is not None and bool(library.mallopt(_M_ARENA_MAX, HEAPS))


def limit_memory() -> int:
    """Keep this process, and those it begins, to a share of the machine's memory. Gives the bytes, 0 where unlimited.

    Beyond it whoever asks next for memory fails with a sentence; the machine's other programs, and the records, are
    not touched. It covers Python and the engine alike, and not which of the requests of that moment fails.
    """
    if sys.platform == "win32":
        return 0
    import resource

    most = int(os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") * SHARE)
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    if hard != resource.RLIM_INFINITY:
        most = min(most, hard)
    resource.setrlimit(resource.RLIMIT_DATA, (most, hard))
    return most


def give_back() -> bool:
    """Give free memory back to the system, unless that was done a moment ago. Gives whether any was."""
    global _last
    library = _library()
    with _guard:
        now = time.monotonic()
        if library is None or now - _last < EVERY:
            return False
        _last = now
    return bool(library.malloc_trim(0))


@functools.cache
def _library() -> Any:
    with contextlib.suppress(OSError, AttributeError):
        library = ctypes.CDLL("libc.so.6")
        library.mallopt.argtypes, library.mallopt.restype = (ctypes.c_int, ctypes.c_int), ctypes.c_int
        library.malloc_trim.argtypes, library.malloc_trim.restype = (ctypes.c_size_t,), ctypes.c_int
        return library
    return None
