"""Lengths are kept in millimetres; the trade also says inches."""

from __future__ import annotations

MM_PER_INCH = 25.4
"""Exact by definition [pub: International yard and pound agreement, 1959]."""
MM_PER_CM = 10.0
DAYS_PER_MONTH = 365.25 / 12
CM_PER_INCH = MM_PER_INCH / MM_PER_CM


def inches_to_mm(inches: float) -> float:
    """Millimetres in a length given in inches.

    Example
    -------
    >>> round(inches_to_mm(3), 1)
    76.2
    """
    return inches * MM_PER_INCH


def mm_to_inches(mm: float) -> float:
    """Inches in a length given in millimetres.

    Example
    -------
    >>> round(mm_to_inches(75), 2)
    2.95
    """
    return mm / MM_PER_INCH
