"""Lengths are kept in millimetres; the trade also says inches."""

from __future__ import annotations

MM_PER_INCH = 25.4
"""Exact by definition [pub: International yard and pound agreement, 1959]."""
DAYS_PER_MONTH = 365.25 / 12


def mm_to_inches(mm: float) -> float:
    """Inches in a length given in millimetres.

    Example
    -------
    >>> round(mm_to_inches(75), 2)
    2.95
    """
    return mm / MM_PER_INCH
