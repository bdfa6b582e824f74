"""How often the control chart cries wolf on herds in which nothing changes, and how soon it sees a doubling.

Run with ``python -m tests.scale.false_alarms``. Herds are simulated cow by cow: every cow has a proneness of
her own, is lame again more readily than by chance, and is replaced in the end; months of a herd may wander
together besides.
"""

from __future__ import annotations

import numpy as np

from analytics.methods.baseline_chart import baseline_chart

BASELINE = 12
MONTHS = 36


def herd(
    rng: np.random.Generator, cows: int, share: float, *, wander: float, doubled: bool = False
) -> tuple[np.ndarray, np.ndarray]:
    """Lame and scored cows of each month; with *doubled* the share doubles after the baseline."""
    centre = np.log(share / (1 - share)) * np.sqrt(1 + 0.346 * 0.8**2)
    twice = np.log(2 * share / (1 - 2 * share)) * np.sqrt(1 + 0.346 * 0.8**2)
    proneness = rng.normal(0, 0.8, cows)
    lame, scored = np.zeros(MONTHS), np.zeros(MONTHS)
    for month in range(MONTHS):
        replaced = rng.random(cows) < 0.026
        proneness[replaced] = rng.normal(0, 0.8, int(replaced.sum()))
        seen = rng.random(cows) < 0.85
        middle = (twice if doubled and month >= BASELINE else centre) + rng.normal(0, wander)
        sick = rng.random(cows) < 1 / (1 + np.exp(-middle - proneness))
        lame[month], scored[month] = (sick & seen).sum(), seen.sum()
    return lame, scored


def first_signals(lame: np.ndarray, scored: np.ndarray) -> dict[str, int | None]:
    """Months after the baseline until each sort of signal, and until any."""
    table = baseline_chart(lame, scored, np.arange(MONTHS) < BASELINE).table.iloc[BASELINE:]
    out: dict[str, int | None] = {}
    for name in ("outside", "run", "drift"):
        hits = np.flatnonzero(table[name].to_numpy() != 0)
        out[name] = int(hits[0]) + 1 if len(hits) else None
    found = [month for month in out.values() if month is not None]
    out["any"] = min(found) if found else None
    return out


def rates(cows: int, share: float, wander: float, *, doubled: bool, repeats: int, seed: int = 0) -> dict[str, object]:
    """Share of herds with a signal within 24 months, by sort, and the median months to the first."""
    rng = np.random.default_rng(seed)
    found = [first_signals(*herd(rng, cows, share, wander=wander, doubled=doubled)) for _ in range(repeats)]
    out: dict[str, object] = {
        name: sum(each[name] is not None for each in found) / repeats for name in ("outside", "run", "drift", "any")
    }
    firsts = [each["any"] if each["any"] is not None else MONTHS for each in found]
    out["median"] = float(np.median([month for month in firsts if month is not None]))
    return out


def main() -> None:
    repeats = 400
    print("Share of stable herds with a signal in 24 months after a baseline of 12, and months to see a doubling")
    print(f"{'cows':>5} {'lame':>5} {'wander':>6} | {'outside':>7} {'run':>5} {'drift':>5} {'any':>5} | {'seen':>5} in")
    for cows in (40, 120, 400):
        for share in (0.05, 0.2):
            for wander in (0.0, 0.15, 0.3):
                still = rates(cows, share, wander, doubled=False, repeats=repeats)
                twice = rates(cows, share, wander, doubled=True, repeats=repeats // 2, seed=1)
                print(
                    f"{cows:>5} {share:>5.0%} {wander:>6} | {still['outside']:>7.1%} {still['run']:>5.1%} "
                    f"{still['drift']:>5.1%} {still['any']:>5.1%} | {twice['any']:>5.0%} {twice['median']:.0f}"
                )


if __name__ == "__main__":
    main()
