"""Parts of the frame that stand as they are: the browser takes longer to put up a choice again than a whole chart."""

from __future__ import annotations

import hashlib
import json
from typing import Any

from dash import no_update
from plotly.utils import PlotlyJSONEncoder


def only_new(parts: dict[str, Any], stands: dict[str, str] | None) -> tuple[dict[str, Any], dict[str, str]]:
    """The parts that differ from what stands on the page; for the others, word that nothing changes.

    Parameters
    ----------
    parts : dict
        Name -> components.
    stands : dict, optional
        Name -> digest of what the browser was last given. The browser forgets it when a hand changes a choice.

    Returns
    -------
    parts : dict
        In the order given.
    digests : dict of str to str
        For the browser to give back the next time.
    """
    digests = {name: _digest(part) for name, part in parts.items()}
    stands = stands if isinstance(stands, dict) else {}
    return {name: no_update if stands.get(name) == digests[name] else part for name, part in parts.items()}, digests


def _digest(part: Any) -> str:
    text = json.dumps(part, cls=PlotlyJSONEncoder, sort_keys=True)
    return hashlib.blake2b(text.encode(), digest_size=12).hexdigest()
