"""How far a lesion runs in families: heritability from daughters of sires, on the scale of liability."""

from __future__ import annotations

from evenfoot.analytics.stats.random_herd import LATENT_VARIANCE

LEAST_SIRES = 10  # below this a variance between sires is not worth telling [common practice, no source]
KINSHIP = 4.0  # half sisters share a quarter of their genes [pub: Falconer & Mackay 1996, chapter 10]


def liability_h2(sd: float) -> float:
    """Heritability from the standard deviation of sires on the logit scale, ``4 s2 / (s2 + pi^2/3)``, capped at 1.

    References
    ----------
    Gilmour AR, Anderson RD, Rae AL (1985). Biometrika 72:593-599. Nakagawa S, Schielzeth H (2010). Biol Rev
    85:935-956.

    Examples
    --------
    >>> round(liability_h2(0.3), 3)
    0.107
    """
    if sd == float("inf"):
        return 1.0
    return float(min(KINSHIP * sd**2 / (sd**2 + LATENT_VARIANCE), 1.0))
