"""A Chromium, Chrome or Edge that is on this machine anyway, found by itself, to print a page with."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import unicodedata
from pathlib import Path

from evenfoot.analytics.errors import UserError
from evenfoot.analytics.temporary_folders import scratch_folder

ENVIRONMENT = "EVENFOOT_BROWSER"
"""Names the program where it is in an unusual place."""

NAMES = (
    "chromium",
    "chromium-browser",
    "google-chrome",
    "google-chrome-stable",
    "chrome",
    "microsoft-edge",
    "microsoft-edge-stable",
    "msedge",
)
ON_MAC = (
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
    "/Applications/Chromium.app/Contents/MacOS/Chromium",
    "/Applications/Microsoft Edge.app/Contents/MacOS/Microsoft Edge",
)
ON_WINDOWS = (
    r"Google\Chrome\Application\chrome.exe",
    r"Chromium\Application\chrome.exe",
    r"Microsoft\Edge\Application\msedge.exe",
)

PASSED_ON = (
    *("PATH", "LANG", "LC_ALL", "LC_CTYPE", "TZ", "LD_LIBRARY_PATH", "FONTCONFIG_FILE", "FONTCONFIG_PATH"),
    *("SYSTEMROOT", "SYSTEMDRIVE", "WINDIR", "COMSPEC", "PROGRAMFILES", "PROGRAMFILES(X86)", "PROGRAMDATA"),
)
"""All that the browser learns of the environment: where programs and fonts are, language and time zone."""

OWN_FOLDERS = (
    *("HOME", "TMPDIR", "TMP", "TEMP", "XDG_CONFIG_HOME", "XDG_CACHE_HOME", "XDG_DATA_HOME", "XDG_RUNTIME_DIR"),
    *("USERPROFILE", "APPDATA", "LOCALAPPDATA"),
)
"""Folders that a program takes for the user's: for the browser they are its own."""

NO_NETWORK = (
    # Every address, this machine's too, goes through a proxy that is not there.
    "--proxy-server=http://127.0.0.1:9",
    "--proxy-bypass-list=<-loopback>",
    "--host-resolver-rules=MAP * ~NOTFOUND",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)

LOADS_NOTHING = (
    "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; "
    'img-src data:; font-src data:">'
)
"""Put into the page that is printed: it has no part in another file, on this machine or elsewhere."""

PRINT_SECONDS = 120
"""Longer than this a browser has hung. [common practice, no source]"""

NO_BROWSER = (
    "No Chromium, Chrome or Edge was found to make the PDF with; open the HTML report and print it to PDF, or name "
    f"the program in {ENVIRONMENT}."
)


def find_browser() -> Path | None:
    """The browser to print with, or ``None``."""
    named = os.environ.get(ENVIRONMENT)
    if named:
        found = shutil.which(named)
        return Path(found) if found else None
    for name in NAMES:
        found = shutil.which(name)
        if found:
            return Path(found)
    return next((path for path in _usual_places() if path.is_file()), None)


def _usual_places() -> list[Path]:
    if sys.platform == "darwin":
        return [Path(place) for place in ON_MAC]
    roots = [os.environ.get(name) for name in ("PROGRAMFILES", "PROGRAMFILES(X86)", "LOCALAPPDATA")]
    return [Path(root) / place for root in roots if root for place in ON_WINDOWS]


def print_pdf(page: Path, out: Path) -> None:
    """Print an HTML file to PDF, with its title, language, bookmarks and tags.

    The browser gets a copy of the page in a folder of its own, which is all that it is given: no secrets in its
    environment, no network, and nothing that the page names elsewhere is loaded.

    Raises
    ------
    UserError
        There is no browser, or it did not manage.
    """
    text = page.read_text(encoding="utf-8").replace("<head>", f"<head>{LOADS_NOTHING}", 1)
    with scratch_folder() as profile:
        draft = profile / "report.pdf"
        given = ["--no-pdf-header-footer", "--generate-pdf-document-outline", "--export-tagged-pdf"]
        done = _run(text, profile, [*given, f"--print-to-pdf={draft}"])
        if not draft.is_file() or not draft.stat().st_size:
            last = done.stderr.decode(errors="replace").strip().splitlines()[-1:] or ["no reason given"]
            raise UserError(f"The browser made no PDF ({last[0]}); open the HTML report and print it instead.")
        shutil.move(draft, out)


def letters_without_font(text: str) -> str:
    """The letters of a text that the browser draws as boxes, because the machine has no font for them.

    The browser is asked itself: it draws each letter, and one that no font has looks as a code point does that never
    stands for any letter [pub: Unicode Standard, 23.7, noncharacters]. Letters that every font has are not asked about.
    """
    asked = "".join(sorted({letter for letter in text if _is_asked(letter)}))
    if not asked:
        return ""
    with scratch_folder() as profile:
        done = _run(PROBE.replace("LETTERS", json.dumps(asked)), profile, ["--dump-dom"])
    found = re.search(r"<pre>([0-9 ]*)</pre>", done.stdout.decode(errors="replace"))
    return "" if found is None else "".join(chr(int(number)) for number in found[1].split())


PROBE = """<!doctype html><html><head><meta charset="utf-8"></head><body><pre></pre><script>
const canvas = document.createElement("canvas"), pen = canvas.getContext("2d", {willReadFrequently: true});
canvas.width = canvas.height = 40;
const drawn = letter => {
  pen.clearRect(0, 0, 40, 40); pen.font = "24px system-ui, sans-serif"; pen.fillText(letter, 4, 30);
  return pen.getImageData(0, 0, 40, 40).data.join();
};
const box = drawn(String.fromCodePoint(0x10FFFE));
document.querySelector("pre").textContent =
  [...LETTERS].filter(letter => drawn(letter) === box).map(letter => letter.codePointAt(0)).join(" ");
</script></body></html>"""


def _is_asked(letter: str) -> bool:
    """Letters, digits and signs beyond the Latin script and the usual punctuation."""
    return letter >= "\u0250" and not "\u2000" <= letter <= "\u22ff" and unicodedata.category(letter)[0] in "LNS"


def _run(text: str, profile: Path, given: list[str]) -> subprocess.CompletedProcess[bytes]:
    """The browser on a page, alone in the folder *profile*.

    Raises
    ------
    UserError
        There is no browser, or it did not manage.
    """
    browser = find_browser()
    if browser is None:
        raise UserError(NO_BROWSER)
    own = profile / "report.html"
    own.write_text(text, "utf-8")
    command = [
        str(browser),
        "--headless",
        "--disable-gpu",
        "--no-first-run",
        "--no-default-browser-check",
        "--disable-extensions",
        *NO_NETWORK,
        f"--user-data-dir={profile}",
        # Root inside a container has no sandbox to use; the page is our own and runs nothing but ours.
        *(["--no-sandbox"] if _is_root() else []),
        *given,
        own.resolve().as_uri(),
    ]
    environment = {name: os.environ[name] for name in PASSED_ON if name in os.environ}
    environment |= dict.fromkeys(OWN_FOLDERS, str(profile))
    try:
        return subprocess.run(
            command,
            stdin=subprocess.DEVNULL,
            capture_output=True,
            timeout=PRINT_SECONDS,
            check=False,
            cwd=profile,
            env=environment,
        )
    except subprocess.TimeoutExpired:
        raise UserError(f"{browser.name} did not finish the PDF in {PRINT_SECONDS} seconds; try again.") from None
    except OSError as error:
        raise UserError(f"{browser} cannot be started ({error.strerror}); name another in {ENVIRONMENT}.") from None


def _is_root() -> bool:
    return hasattr(os, "geteuid") and os.geteuid() == 0
