"""All that happened to one cow as one list of events."""

from __future__ import annotations

import pandas as pd

from evenfoot.dashboard.charts.labels import value_label
from evenfoot.dashboard.i18n.translation import _


def events(frames: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """All that happened to her, one row an event, newest first."""
    parts = [
        pd.DataFrame({"day": f[column], "event": name, "what": f.apply(said, axis=1) if len(f) else []})
        for name, f, column, said in (
            (_("Finding"), frames["findings"], "visit_date", _finding_words),
            (
                _("Scored"),
                frames["scores"],
                "visit_date",
                lambda r: _("{score} on the {scale} scale", score=r["score"], scale=r["scale"]),
            ),
            (_("Calved"), frames["calvings"], "calved_on", lambda r: ""),
            (_("Moved"), frames["moves"], "moved_on", lambda r: _("to {group}", group=r["group"])),
        )
    ]
    clean = frames["trims"][~frames["trims"]["visit_date"].isin(frames["findings"]["visit_date"])]
    parts.append(pd.DataFrame({"day": clean["visit_date"], "event": _("Trimmed"), "what": _("nothing found")}))
    filled = [part for part in parts if len(part)]
    events = pd.concat(filled, ignore_index=True) if filled else parts[0]
    return events.sort_values("day", ascending=False, kind="stable").reset_index(drop=True)


def _finding_words(row: pd.Series) -> str:
    parts = [value_label("lesion", row["lesion"])]
    parts += [value_label(name, row[name]) for name in ("foot", "claw", "zone", "dd_stage") if pd.notna(row[name])]
    if pd.notna(row["severity"]):
        parts.append(value_label("severity", int(row["severity"])))
    return ", ".join(parts)
