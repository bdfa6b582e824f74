"""What a program writes to the disk, as the system sees it, and what a disk may hold of it when the power goes.

The program runs under ``strace`` (Linux). What it has written since it last asked for a file to be put on the disk
(``fsync``) may be there, or not, or in part, in any order; so may a name that was given or taken.
"""

from __future__ import annotations

import os
import random
import re
import shutil
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

PIECE = 4096
"""Bytes that are written or not, together."""

SECTOR = 512
"""Bytes that a disk writes whole. [common practice, no source]"""

CALLS = (
    "openat", "open", "creat", "close", "write", "pwrite64", "writev", "pwritev", "lseek", "fsync", "fdatasync",
    "ftruncate", "truncate", "fallocate", "rename", "renameat", "renameat2", "link", "linkat", "unlink", "unlinkat",
    "dup", "dup2", "dup3", "sendfile", "copy_file_range", "mkdir", "mkdirat",
)  # fmt: skip

UNKNOWN = frozenset({"writev", "pwritev", "truncate", "dup", "dup2", "dup3", "sendfile", "copy_file_range", "creat"})
"""Calls that are not followed: a record with one of them on the folder's files is refused."""


@dataclass(eq=False)
class Inode:
    """A file, whatever its name: what is on the disk for certain, and what was written since."""

    durable: bytearray = field(default_factory=bytearray)
    pending: list[tuple[int, bytes | int]] = field(default_factory=list)
    """(where, bytes), or (-1, new length)."""

    def settle(self) -> None:
        for change in self.pending:
            _apply(self.durable, change)
        self.pending.clear()

    def copy(self) -> Inode:
        return Inode(bytearray(self.durable), list(self.pending))


@dataclass(frozen=True)
class Event:
    """One thing that happened, in order.

    ``kind`` is data (inode, where, bytes), cut (inode, length), sync (inode), names (name -> inode or None),
    folder (synced), or told (text).
    """

    kind: str
    inode: int = -1
    change: tuple[int, bytes | int] = (0, b"")
    names: tuple[tuple[str, int | None], ...] = ()
    text: str = ""


def missing() -> str:
    """Why nothing can be recorded here, in a sentence; empty when it can."""
    if not sys.platform.startswith("linux") or shutil.which("strace") is None:
        return "Not tried: this needs `strace` on Linux."
    tried = subprocess.run(["strace", "-f", "-o", os.devnull, "true"], capture_output=True, check=False)
    return "" if tried.returncode == 0 else "Not tried: `strace` may not trace programs here."


@dataclass
class Record:
    """Everything that happened to the files of one folder while a program ran."""

    inodes: list[bytes]
    """What the files held at first; those made later are empty."""

    names: dict[str, int]
    events: list[Event]

    @classmethod
    def of(cls, command: list[str], folder: Path, told: Path) -> Record:
        """Run a command under ``strace``; what it writes to the file *told* is what it tells."""
        trace = told.with_name(told.name + ".trace")
        reader = _Reader(folder, told)
        done = subprocess.run(
            ["strace", "-f", "-qq", "-xx", "-s", str(1 << 26), "-e", f"trace={','.join(CALLS)}", "-e", "signal=none",
             "-o", str(trace), *command],
            capture_output=True, text=True, timeout=1200, check=False,
        )  # fmt: skip
        if done.returncode:
            raise RuntimeError(done.stderr)
        with trace.open(encoding="ascii") as lines:
            for line in _whole(lines):
                reader.take(line)
        trace.unlink()
        return cls(reader.at_first, reader.names_at_first, reader.events)

    def telling(self) -> list[int]:
        """The moments just before and after a name is given or taken, a file is synced, or something is told."""
        near = [number for number, event in enumerate(self.events) if event.kind not in ("data", "cut")]
        return sorted({number + step for number in near for step in (0, 1)}) or [0]

    def told_before(self, cut: int) -> list[str]:
        return [event.text for event in self.events[:cut] if event.kind == "told"]

    def lay_out(self, cut: int, place: Path, chance: random.Random, *, names_in_order: bool) -> None:
        """Write what a disk may hold when the power goes after the event *cut*.

        Parameters
        ----------
        names_in_order : bool
            Whether names come to the disk in the order they were given, all earlier ones with any ``fsync``, as on the
            usual journalling file systems; else each by itself, and for certain only once its folder was synced, which
            is all that POSIX promises.
        """
        inodes = [Inode(bytearray(content)) for content in self.inodes]
        names: dict[str, int | None] = dict(self.names)
        waiting: list[Event] = []
        for event in self.events[:cut]:
            if event.kind in ("data", "cut"):
                inodes[event.inode].pending.append(event.change)
            elif event.kind == "names":
                waiting.append(event)
            elif event.kind == "sync":
                inodes[event.inode].settle()
                if names_in_order:
                    _give(names, waiting)
            elif event.kind == "folder":
                _give(names, waiting)
        kept = waiting[: chance.randrange(len(waiting) + 1)]
        if not names_in_order:
            kept = [event for event in waiting if chance.random() < 0.5]
        _give(names, kept)
        shutil.rmtree(place, ignore_errors=True)
        place.mkdir(parents=True)
        for name, number in names.items():
            if number is not None:
                out = place / name
                out.parent.mkdir(parents=True, exist_ok=True)
                out.write_bytes(_survived(inodes[number], chance))


def _give(names: dict[str, int | None], events: list[Event]) -> None:
    for event in list(events):
        names.update(event.names)
    events.clear()


def _survived(inode: Inode, chance: random.Random) -> bytes:
    """The file with none, all, some or the first of the writes that were not yet asked to the disk."""
    out = bytearray(inode.durable)
    way = chance.choice(("none", "all", "some", "first"))
    if way == "none":
        return bytes(out)
    pieces = [piece for change in inode.pending for piece in _pieces(change)]
    if way == "some":
        pieces = [piece for piece in pieces if chance.random() < 0.5]
    elif way == "first" and pieces:
        pieces = pieces[: chance.randrange(len(pieces)) + 1]
        where, what = pieces[-1]
        if isinstance(what, bytes):
            pieces[-1] = (where, what[: SECTOR * chance.randrange(len(what) // SECTOR + 1)])
    for piece in pieces:
        _apply(out, piece)
    return bytes(out)


def _pieces(change: tuple[int, bytes | int]) -> Iterator[tuple[int, bytes | int]]:
    where, what = change
    if isinstance(what, int):
        yield change
        return
    at = 0
    while at < len(what):
        end = min(len(what), at + PIECE - (where + at) % PIECE)
        yield where + at, what[at:end]
        at = end


def _apply(content: bytearray, change: tuple[int, bytes | int]) -> None:
    where, what = change
    if isinstance(what, int):
        if what <= len(content):
            del content[what:]
        else:
            content.extend(bytes(what - len(content)))
        return
    if where + len(what) > len(content):
        content.extend(bytes(where + len(what) - len(content)))
    content[where : where + len(what)] = what


_LINE = re.compile(r"^\d+\s+(\w+)\((.*)\)\s+= (-?\d+|\?)", re.DOTALL)
_TEXT = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')


def _whole(lines: Iterator[str]) -> Iterator[str]:
    """Lines of the trace, those that were cut in two by another thread put together where they end."""
    begun: dict[str, str] = {}
    for line in lines:
        thread, _, rest = line.rstrip("\n").partition(" ")
        rest = rest.lstrip()
        if rest.endswith(" <unfinished ...>"):
            begun[thread] = rest.removesuffix(" <unfinished ...>")
        elif rest.startswith("<... "):
            yield f"{thread} {begun.pop(thread, '')}{rest.partition(' resumed>')[2]}"
        else:
            yield f"{thread} {rest}"


@dataclass
class _Open:
    inode: int
    at: int = 0
    append: bool = False


class _Reader:
    """Takes the lines of a trace and keeps what concerns one folder."""

    def __init__(self, folder: Path, told: Path) -> None:
        self.folder, self.told = folder.resolve(), told.resolve()
        self.at_first: list[bytes] = []
        self.names_at_first: dict[str, int] = {}
        for path in sorted(self.folder.rglob("*")):
            if path.is_file():
                self.names_at_first[str(path.relative_to(self.folder))] = len(self.at_first)
                self.at_first.append(path.read_bytes())
        self.names: dict[str, int | None] = dict(self.names_at_first)
        self.lengths = [len(content) for content in self.at_first]
        self.open: dict[int, _Open | str] = {}
        self.events: list[Event] = []

    def take(self, line: str) -> None:
        found = _LINE.match(line)
        if found is None or found[3] == "?" or int(found[3]) < 0:
            return
        call, arguments, result = found[1], found[2], int(found[3])
        texts = [bytes.fromhex(text.replace("\\x", "")) for text in _TEXT.findall(arguments)]
        plain = _TEXT.sub('""', arguments).split(", ")
        if call in ("openat", "open"):
            self._opened(texts[0].decode(), arguments, result)
        elif call in ("rename", "renameat", "renameat2", "link", "linkat"):
            self._named(call, texts[0].decode(), texts[1].decode())
        elif call in ("unlink", "unlinkat"):
            name = self._name(texts[0].decode())
            if name is not None and "AT_REMOVEDIR" not in arguments:
                self._names({name: None})
        elif plain[0].isdigit() and int(plain[0]) in self.open:
            self._on_open(call, int(plain[0]), texts, plain, result)

    def _name(self, path: str) -> str | None:
        full = Path(os.path.abspath(path))
        return str(full.relative_to(self.folder)) if full.is_relative_to(self.folder) and full != self.folder else None

    def _names(self, names: dict[str, int | None]) -> None:
        self.names.update(names)
        self.events.append(Event("names", names=tuple(names.items())))

    def _opened(self, path: str, arguments: str, handle: int) -> None:
        self.open.pop(handle, None)
        full = Path(os.path.abspath(path))
        if full == self.told:
            self.open[handle] = "told"
            return
        if "O_DIRECTORY" in arguments or full.is_dir():
            if full == self.folder or full.is_relative_to(self.folder):
                self.open[handle] = "folder"
            return
        name = self._name(path)
        if name is None:
            return
        number = self.names.get(name)
        if number is None:
            number = len(self.at_first)
            self.at_first.append(b"")
            self.lengths.append(0)
            self._names({name: number})
        elif "O_TRUNC" in arguments:
            self._cut(number, 0)
        self.open[handle] = _Open(number, append="O_APPEND" in arguments)

    def _named(self, call: str, old: str, new: str) -> None:
        before, after = self._name(old), self._name(new)
        if before is None and after is None:
            return
        assert before is not None and after is not None, f"{call} between the folder and elsewhere is not followed"
        number = self.names.get(before)
        self._names({after: number} if call.startswith("link") else {after: number, before: None})

    def _cut(self, number: int, length: int) -> None:
        self.lengths[number] = length
        self.events.append(Event("cut", number, (-1, length)))

    def _on_open(self, call: str, handle: int, texts: list[bytes], plain: list[str], result: int) -> None:
        place = self.open[handle]
        if call == "close":
            del self.open[handle]
        elif place == "told":
            if call == "write":
                self.events.append(Event("told", text=texts[0].decode().strip()))
        elif place == "folder":
            if call in ("fsync", "fdatasync"):
                self.events.append(Event("folder"))
        elif isinstance(place, _Open):
            if call in UNKNOWN:
                raise RuntimeError(f"{call} is not followed")
            if call in ("fsync", "fdatasync"):
                self.events.append(Event("sync", place.inode))
            elif call == "ftruncate":
                self._cut(place.inode, int(plain[1]))
            elif call == "fallocate":
                self._cut(place.inode, max(self.lengths[place.inode], int(plain[2]) + int(plain[3])))
            elif call == "lseek":
                place.at = result
            elif call in ("write", "pwrite64"):
                where = int(plain[-1]) if call == "pwrite64" else place.at
                if call == "write" and place.append:
                    where = self.lengths[place.inode]
                self._wrote(place, where, texts[0][:result], moved=call == "write")

    def _wrote(self, place: _Open, where: int, data: bytes, *, moved: bool) -> None:
        self.events.append(Event("data", place.inode, (where, data)))
        self.lengths[place.inode] = max(self.lengths[place.inode], where + len(data))
        if moved:
            place.at = where + len(data)
