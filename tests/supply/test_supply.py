"""What Evenfoot is made of: every part pinned with its digest, listed, and under a free licence."""

from __future__ import annotations

import hashlib
import json
import re
from pathlib import Path

import plotly
import pytest

from tests.supply.licences import PAGE, licences, refused
from tests.supply.needed import locked, needed
from tests.supply.sbom import write_sbom

DEXIE = "98157b477cbd28ab5237fe3c327b3cde97af2d9c9739659b31ab867312aa6db9"


def test_no_licence_slips_in() -> None:
    found = {each["Name"]: each["License"] for each in licences()}
    assert len(found) > 40
    assert {name: licence for name, licence in found.items() if refused(licence)} == {}


@pytest.mark.parametrize(
    "licence", ["GPL-3.0-only", "GNU Affero General Public License v3", "UNKNOWN", "Proprietary", ""]
)
def test_a_licence_that_asks_for_more_is_refused(licence: str) -> None:
    assert refused(licence)
    assert refused(f"MIT AND {licence}")
    assert not refused(f"MIT OR {licence}")


def test_the_list_is_of_what_is_locked() -> None:
    rows = dict(re.findall(r"^\| ([\w.-]+) \| ([\w.]+) \|", PAGE.read_text(), re.M))
    listed = {re.sub(r"[-_.]+", "-", name).lower(): version for name, version in rows.items() if name != "package"}
    assert set(needed()) <= set(listed), "run `make licences`"
    pinned = locked()
    assert {name: version for name, version in listed.items() if version not in pinned.get(name, ())} == {}


def test_the_bill_names_every_part_with_its_digest(tmp_path: Path) -> None:
    write_sbom(tmp_path / "sbom.json")
    bill = json.loads((tmp_path / "sbom.json").read_text())
    assert bill["bomFormat"] == "CycloneDX" and bill["metadata"]["component"]["name"] == "evenfoot"
    named = {re.sub(r"[-_.]+", "-", each["name"]).lower(): each for each in bill["components"]}
    assert set(named) == set(locked())
    for each in named.values():
        digests = [one for place in each["externalReferences"] for one in place.get("hashes", ())]
        assert digests and all(one["alg"] == "SHA-256" for one in digests), each["name"]
    assert named["duckdb"]["scope"] == "required" and named["pytest"]["scope"] == "excluded"


def test_the_bundle_of_the_charts_is_of_the_version_of_the_package() -> None:
    """The pages use a smaller bundle of the chart library than its Python package carries."""
    package = Path(plotly.__file__).parent / "package_data" / "plotly.min.js"
    bundle = Path("dashboard/assets/plotly-basic.min.js")
    version = re.compile(r"plotly\.js (?:\(basic - minified\) )?v([\d.]+)")
    found = [version.search(path.read_text(encoding="utf-8")[:400]) for path in (package, bundle)]
    assert found[0] and found[1] and found[0][1] == found[1][1]
    assert "Licensed under the MIT license" in bundle.read_text(encoding="utf-8")[:400]


def test_the_database_of_the_chute_page_comes_whole_with_its_licence() -> None:
    """The npm package dexie 4.4.7, ``dist/dexie.min.js`` without the last line, which names a file for debugging."""
    bundle, licence = Path("dashboard/chute/dexie.min.js"), Path("dashboard/chute/dexie-licence.txt")
    assert hashlib.sha256(bundle.read_bytes()).hexdigest() == DEXIE
    text = licence.read_text(encoding="utf-8")
    assert "Apache License" in text and "David Fahlander" in text
