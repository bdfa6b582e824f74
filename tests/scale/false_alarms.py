"""How often something is called where nothing is, and how often it is seen where it is: all verdicts of the program.

Run with ``python -m tests.scale.false_alarms``; ``--farms 100`` is quicker and less sure. Every part stands in a module
of its own that runs alone: the summary, the charts of months and the funnel, changes and trends.
"""

from __future__ import annotations

import argparse

from tests.scale import worlds_change, worlds_summary, worlds_warn


def main(farms: int = 400) -> None:
    """Print the tables one after the other."""
    for name, part in (
        ("The summary", worlds_summary),
        ("Charts of months, and the funnel", worlds_warn),
        ("Changes and trends", worlds_change),
    ):
        print(f"\n{name}")
        part.main(farms)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--farms", type=int, default=400)
    main(parser.parse_args().farms)
