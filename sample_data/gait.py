"""How the cows walk: locomotion scores from what their feet carry."""

from __future__ import annotations

import math
from datetime import date

import numpy as np

from evenfoot.sample_data import farms, truths
from evenfoot.sample_data.herds import Cow

FROM_FIVE_TO_THREE = {1: 0, 2: 1, 3: 2, 4: 3, 5: 3}
"""The British scale of the same gait: lame is 2 or more there, 3 or more on the five-point scale."""


def lame_log_odds(farm: farms.Farm, cow: Cow, on: date) -> float:
    """Log-odds of a lame score on a day."""
    total = farm.lame + cow.gait
    for sore in cow.sores:
        if sore.since <= on < sore.until:
            total += truths.SORE[sore.lesion] + truths.SORE_A_GRADE * (sore.severity - 1)
    if cow.acute and cow.acute[1] <= on:
        total += truths.SORE[cow.acute[0]] + truths.SORE_A_GRADE
    if farm.name == truths.AUTUMN_FARM:
        total += truths.LAME_AUTUMN * truths.yearly_wave(on, 9)
    if farm.name == truths.RISING_FARM and on > truths.RISING_FROM:
        total += truths.RISE * (on - truths.RISING_FROM).days / (farms.END - truths.RISING_FROM).days
    return total


def score(rng: np.random.Generator, farm: farms.Farm, cow: Cow, on: date) -> int:
    """One locomotion score, on the farm's own scale."""
    lame = lame_log_odds(farm, cow, on)
    drawn = rng.random()
    five = 1 + sum(drawn < 1 / (1 + math.exp(step - lame)) for step in truths.STEPS.values())
    return five if farm.scale == "1-5" else FROM_FIVE_TO_THREE[five]
