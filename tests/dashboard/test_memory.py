"""Memory of a server: threads share a few heaps, and what is free goes back to the system."""

from __future__ import annotations

import subprocess
import sys

import pytest

from evenfoot.dashboard.web import memory

PROGRAM = r"""
import ctypes, re, threading
from evenfoot.dashboard.web.memory import give_back, keep_together
assert keep_together()
libc = ctypes.CDLL("libc.so.6")
libc.malloc.restype, libc.malloc.argtypes = ctypes.c_void_p, (ctypes.c_size_t,)
libc.free.argtypes = (ctypes.c_void_p,)
libc.open_memstream.restype = ctypes.c_void_p
meet = threading.Barrier(12)

def work():
    pieces = [libc.malloc(20_000) for _ in range(300)]
    for piece in pieces:
        ctypes.memset(piece, 1, 20_000)
    meet.wait()
    for piece in pieces[:-1]:
        libc.free(piece)
    meet.wait()

def resident():
    return int(re.search(r"VmRSS:\s+(\d+)", open("/proc/self/status").read())[1])

threads = [threading.Thread(target=work) for _ in range(12)]
[each.start() for each in threads]
[each.join() for each in threads]
text, size = ctypes.c_char_p(), ctypes.c_size_t()
stream = ctypes.c_void_p(libc.open_memstream(ctypes.byref(text), ctypes.byref(size)))
libc.malloc_info(0, stream)
libc.fclose(stream)
before = resident()
assert give_back() and not give_back()
print(text.value.decode().count("<heap nr"), before - resident())
"""


@pytest.mark.skipif(memory._library() is None, reason="another C library")
def test_threads_share_two_heaps_and_give_back() -> None:
    done = subprocess.run([sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    heaps, freed = map(int, done.stdout.split())
    assert heaps <= memory.HEAPS
    assert freed > 20_000, "of the 70 MB that twelve threads had freed"
