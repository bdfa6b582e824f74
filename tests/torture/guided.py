"""Guided fuzzing of the intake: bytes are changed again and again, and kept when they reach code that no others did.

python -m tests.torture.guided --minutes 20      (``make fuzz`` installs what it takes, in an environment of its own)

CSV and JSON are changed as they are; of a workbook the one part that holds the cells, which is packed again, so that
the reader gets to it. Whatever comes of them, it is rows, each a record or set aside, or a UserError of one sentence.
What is not is kept in ``build/fuzz/found``, once for each place in the program where it came up.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import re
import subprocess
import sys
import time
import traceback
import zipfile
from pathlib import Path

from evenfoot.analytics.errors import UserError

PLACE = Path("build") / "fuzz"
LONGEST = 8192
"""Bytes of one input. Longer ones reach no other code, and slower."""

SLOWEST = 10.0
"""Seconds of processor for one input."""

KINDS = ("csv", "json", "xlsx", "ods")
"""The first byte of an input says of which kind it is."""

PARTS = {"xlsx": "xl/worksheets/sheet1.xml", "ods": "content.xml"}


def seeds() -> dict[str, bytes]:
    """Inputs to begin with, made of sound files."""
    from tests.torture.files import sound

    out = {}
    for name, content in sound().items():
        kind = name.rpartition(".")[2]
        if kind in PARTS:
            with zipfile.ZipFile(io.BytesIO(content)) as book:
                content = book.read(PARTS[kind])
        if kind in KINDS:
            out[name] = bytes([KINDS.index(kind)]) + content
    return out


class Packing:
    """Makes files of inputs; the other parts of a workbook are those of a sound one."""

    def __init__(self) -> None:
        from tests.torture.files import sound

        self.parts: dict[str, dict[str, bytes]] = {}
        for name, content in sound().items():
            kind = name.rpartition(".")[2]
            if kind in PARTS:
                with zipfile.ZipFile(io.BytesIO(content)) as book:
                    self.parts[kind] = {part: book.read(part) for part in book.namelist()}

    def file_of(self, data: bytes) -> tuple[str, bytes]:
        kind = KINDS[data[0] % len(KINDS)] if data else "csv"
        if kind not in PARTS:
            return f"any.{kind}", data[1:]
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as book:
            for part, content in (self.parts[kind] | {PARTS[kind]: data[1:]}).items():
                book.writestr(part, content)
        return f"any.{kind}", out.getvalue()


def take(name: str, content: bytes) -> None:
    """Check one file; anything but rows that add up, or a UserError of one sentence, raises."""
    from evenfoot.analytics.intake import write_set_aside
    from evenfoot.analytics.intake.layouts.questions import Answers
    from evenfoot.analytics.intake.pipeline import understand_file
    from tests.intake.books import add_up
    from tests.torture.any_bytes import check_sentence

    answers = Answers(accept=True)
    try:
        found = understand_file(content, name, farm="Elm", day_first=True, known_farms=("Elm",), answers=answers)
    except UserError as mistake:
        check_sentence(str(mistake))
        return
    for question in answers.met.values():
        check_sentence(str(question.text))
    for sheet in found.sheets:
        add_up(sheet)
        write_set_aside(sheet.set_aside)


def keep(found: Path, data: bytes, wrong: str, where: str) -> None:
    """Keep an input that went wrong, the first for each place."""
    mark = hashlib.sha256(where.encode()).hexdigest()[:12]
    if not (found / f"{mark}.txt").exists():
        (found / f"{mark}.input").write_bytes(data)
        (found / f"{mark}.txt").write_text(wrong, encoding="utf-8")


def fuzz(seconds: int, found: Path, corpus: Path) -> None:
    """Fuzz for so long; this ends the process."""
    import atheris

    with atheris.instrument_imports(include=["evenfoot.analytics.intake"]):
        import evenfoot.analytics.intake
        import evenfoot.analytics.intake.large_files.stream  # noqa: F401
    packing = Packing()

    def one(data: bytes) -> None:
        began = time.process_time()
        try:
            take(*packing.file_of(data))
        except Exception as error:
            steps = [f"{step.filename}:{step.name}" for step in traceback.extract_tb(error.__traceback__)]
            keep(found, data, traceback.format_exc(), f"{type(error).__name__} {steps}")
        if time.process_time() - began > SLOWEST:
            keep(found, data, f"took {time.process_time() - began:.1f} s", "slow")

    bounds = ("-rss_limit_mb=4000", "-timeout=120", "-report_slow_units=120")
    options = [f"-max_total_time={seconds}", f"-max_len={LONGEST}", *bounds, f"-artifact_prefix={found}/"]
    atheris.Setup([sys.argv[0], *options, str(corpus)], one)
    atheris.Fuzz()


def main() -> int:
    parser = argparse.ArgumentParser()
    parser.add_argument("--minutes", type=float, default=20)
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    try:
        import atheris  # noqa: F401
    except ImportError:
        print("Not tried: this needs atheris; `make fuzz` installs it in an environment of its own.")
        return 0
    found, corpus = PLACE / "found", PLACE / "corpus"
    for folder in (found, corpus):
        folder.mkdir(parents=True, exist_ok=True)
    if asked.here:
        fuzz(int(asked.minutes * 60), found, corpus)
    for name, content in seeds().items():
        (corpus / f"seed-{name}").write_bytes(content)
    command = [sys.executable, "-m", "tests.torture.guided", "--here", "--minutes", str(asked.minutes)]
    done = subprocess.run(command, stderr=subprocess.PIPE, text=True, check=False)
    last = [line for line in done.stderr.splitlines() if re.match(r"#\d+", line)][-1:]
    print(f"guided: {asked.minutes:g} min; {' '.join(last)}; {len(list(corpus.iterdir()))} inputs in the corpus")
    texts = sorted(found.glob("*.txt"))
    stopped = sorted(path for path in found.iterdir() if path.suffix not in (".txt", ".input"))
    for path in texts:
        print(f"guided: WRONG: {path}: {path.read_text(encoding='utf-8').splitlines()[-1][:300]}", file=sys.stderr)
    for path in stopped:
        print(f"guided: WRONG: ended or hung on {path}", file=sys.stderr)
    print(f"guided: {'nothing wrong' if not texts and not stopped else f'{len(texts) + len(stopped)} things wrong'}")
    return 1 if texts or stopped or done.returncode else 0


if __name__ == "__main__":
    sys.exit(main())
