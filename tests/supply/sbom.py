"""The software bill of materials of the lock file: ``python -m tests.supply.sbom build/sbom.json`` (CycloneDX)."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

from packaging.utils import canonicalize_name

from tests.supply.needed import ROOT, needed


def write_sbom(out: Path) -> None:
    """Write what the lock pins, each with its hashes, and whether it is needed to run or a developer's tool.

    Parameters
    ----------
    out : Path
        A .json file; its folder is made.
    """
    out.parent.mkdir(parents=True, exist_ok=True)
    subprocess.run(
        [sys.executable, "-W", "ignore", "-m", "cyclonedx_py", "requirements", "requirements-dev.lock", "--pyproject",
         "pyproject.toml", "--of", "JSON", "--output-reproducible", "--short-PURLs", "-o", str(out.resolve())],
        cwd=ROOT, check=True, capture_output=True,
    )  # fmt: skip
    bill = json.loads(out.read_text(encoding="utf-8"))
    run = needed()
    for each in bill["components"]:
        each["scope"] = "required" if canonicalize_name(each["name"]) in run else "excluded"
        each.pop("description", None)
    out.write_text(json.dumps(bill, indent=1, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    write_sbom(Path(sys.argv[1]))
    print(f"Wrote {sys.argv[1]}")
