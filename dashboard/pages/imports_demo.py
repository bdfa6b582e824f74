"""The demo herds in a ledger: known by their files, and taken out before a sheet of one's own goes in.

They are invented, and a comparison or a benchmark with them would be one with farms that do not exist. A dashboard
serves one ledger, so they make room in it; the user is asked first, and they can be built again elsewhere.
"""

from __future__ import annotations

import functools
import hashlib
import os

from evenfoot import sample_data
from evenfoot.analytics.clock import SET_BY
from evenfoot.analytics.ledger import Ledger
from evenfoot.analytics.ledger.corrections import CORRECTION
from evenfoot.analytics.ledger.imports.add import undo_import
from evenfoot.sample_data.farms import END


@functools.cache
def demo_digests() -> frozenset[str]:
    """SHA-256 of every sheet that is part of the demo, the notebook for trying an import among them."""
    return frozenset(hashlib.sha256(path.read_bytes()).hexdigest() for path in (*sample_data.FILES, sample_data.MESSY))


def demo_imports(ledger: Ledger) -> list[int]:
    """Numbers of the imports that brought demo herds or corrected them and were not taken back, the newest first."""
    if not ledger.exists:
        return []
    frame = ledger.imports()
    frame = frame[frame["undone_at"].isna()]
    found = {int(number) for number in frame.loc[frame["sha256"].isin(demo_digests()), "import_no"]}
    corrections = sorted(int(number) for number in frame.loc[frame["file"] == CORRECTION, "import_no"])
    if found and corrections:
        kept = ledger.frame("SELECT DISTINCT import_no, of_import FROM replaced_rows")
        corrected = kept.groupby("import_no")["of_import"].agg(set).to_dict()
        for number in corrections:  # ascending: one may correct what another has corrected
            if corrected.get(number, {0}) <= found:
                found.add(number)
    return sorted(found, reverse=True)


def take_out_demo(ledger: Ledger) -> None:
    """Take the demo herds back, after one copy of the ledger; the present day counts as today again.

    Raises
    ------
    UserError
        The copy cannot be made, or the ledger cannot be changed.
    """
    for turn, number in enumerate(demo_imports(ledger)):
        undo_import(ledger, number, copy=turn == 0)
    if os.environ.get(SET_BY) == END.isoformat():
        del os.environ[SET_BY]
