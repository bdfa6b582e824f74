"""On which farms has the mixture of a person's findings changed from one quarter to the next?"""

from __future__ import annotations

import numpy as np
import pandas as pd

from evenfoot.analytics.stats.mix_shifts import mix_shifts

FEW_FINDINGS = 30
"""Lesion mixes of fewer findings than this are not compared. [common practice, no source]"""

LEAST_EXPECTED = 5.0
"""Lesions expected less often are taken together. [pub: Cochran 1954, Biometrics 10:417, as a rule of thumb]"""

COLUMNS = ["farm", "who", "before", "now", "lesion", "n", "m", "share", "past", "p_value"]


def shifts(mix: pd.DataFrame) -> pd.DataFrame:
    """Each quarter's lesions held against those of the quarter with records before it.

    Parameters
    ----------
    mix : pandas.DataFrame
        farm, who, quarter (its first day), lesion, n (findings).

    Returns
    -------
    pandas.DataFrame
        farm, who, before and now (quarters), lesion (the one whose share moved most), n and m (findings now and
        before), share and past (of that lesion, now and before), p_value (chi-square); in the order of farm, who and
        quarter. Quarters with few findings are not compared.
    """
    if mix.empty:
        return pd.DataFrame(columns=COLUMNS)
    mix = mix.assign(quarter=pd.to_datetime(mix["quarter"]))
    keys = ["farm", "who", "quarter"]
    counts = mix.pivot_table(index=keys, columns="lesion", values="n", aggfunc="sum", fill_value=0)
    rows = counts.index.to_frame(index=False)
    now = counts.to_numpy(dtype=float)
    was = np.vstack([np.zeros((1, now.shape[1])), now[:-1]])
    same = (rows[["farm", "who"]] == rows[["farm", "who"]].shift()).all(axis=1).to_numpy()
    many = same & (np.minimum(was.sum(axis=1), now.sum(axis=1)) >= FEW_FINDINGS)
    rows = rows.assign(before=rows["quarter"].shift())[many].rename(columns={"quarter": "now"})
    was, now = was[many], now[many]
    told = mix_shifts(was, now, LEAST_EXPECTED)
    at = np.arange(len(rows)), told.moved
    rows = rows.assign(
        lesion=counts.columns.to_numpy()[told.moved],
        n=now.sum(axis=1),
        m=was.sum(axis=1),
        share=now[at] / now.sum(axis=1),
        past=was[at] / was.sum(axis=1),
        p_value=told.p_value,
    )
    out: pd.DataFrame = rows.loc[told.df > 0, COLUMNS].reset_index(drop=True)
    return out
