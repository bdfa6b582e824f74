"""How many cows of a herd to score for lameness."""

from __future__ import annotations

Z = 1.96
LARGEST_VARIANCE = 0.25
PRECISION = 0.15
"""A share, whatever it is, is to be known to 15 percentage points either way, with 95 % confidence
[pub: the sample table of proAction cattle assessment, BC Dairy]."""


def cows_to_score(herd: int) -> int:
    """Cows to score in a herd of *herd* cows, so that the share of lame cows is known well enough.

    The sample of an endless herd, ``n0 = Z² (1/4) / PRECISION²``, is made smaller for a herd that ends:
    ``n = n0 / (1 + (n0 - 1) / herd)``, to the nearest cow. A quarter is the largest variance that a share can have.

    Parameters
    ----------
    herd : int
        Cows in the herd; 0 gives 0.

    Returns
    -------
    int

    References
    ----------
    BC Dairy, proAction cattle assessment, sample sizes by herd.

    Examples
    --------
    >>> cows_to_score(20), cows_to_score(90), cows_to_score(700)
    (14, 29, 40)
    """
    if herd <= 0:
        return 0
    endless = Z**2 * LARGEST_VARIANCE / PRECISION**2
    return min(herd, round(endless / (1 + (endless - 1) / herd)))
