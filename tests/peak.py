"""The most memory a process has held."""

from __future__ import annotations

import resource
from pathlib import Path


def peak_megabytes() -> float:
    """Of this process since its program began.

    What the system counts for a process goes on from the one that started it, so that a program begun by a large one
    seems large; where the system tells it of the program alone, that is taken.
    """
    status = Path("/proc/self/status")
    if status.exists():
        return int(next(row for row in status.read_text().splitlines() if row.startswith("VmHWM")).split()[1]) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
