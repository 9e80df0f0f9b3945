"""Sample ids issued ahead, with blind controls among them and a random order of analysis."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall, unknown

if TYPE_CHECKING:
    import pandas as pd

#: controls per routine sample. Field duplicates 5-10 %, pulp duplicates 3-5 %, standards 3-5 %,
#: blanks in every batch (Abzalov 2008, Exploration and Mining Geology 17:131-144, abstract);
#: 3 % blanks: common practice, no source
RATES: dict[str, float] = {
    "standard": 0.05, "blank": 0.03, "field_duplicate": 0.05, "pulp_duplicate": 0.03,
}  # fmt: skip

#: controls that are a second portion of a routine sample
DUPLICATES = ("field_duplicate", "coarse_duplicate", "pulp_duplicate")
ROLES = ("standard", "blank", "coarse_blank", "pulp_blank", *DUPLICATES)


@dataclass(frozen=True, slots=True, eq=False)
class IssuedIds:
    """Ids for a campaign, a week or a day.

    Parameters
    ----------
    crew : pandas.DataFrame
        ``sample_id, planned_id, also``: what the crew takes; `also` is the id of a second bag.
    analysis : pandas.DataFrame
        ``analysis_order, batch, sample_id``: what the analyst gets, in random order; nothing in
        it tells a control.
    key : pandas.DataFrame
        ``sample_id, role, parent, standard, planned_id, batch, analysis_order``: kept apart. Its
        first four columns are read back as a field log.
    counts : mapping of str to int
        Per role.
    """

    crew: pd.DataFrame
    analysis: pd.DataFrame
    key: pd.DataFrame
    counts: Mapping[str, int]


def count_controls(n: int, rates: Mapping[str, float]) -> dict[str, int]:
    """Say how many controls of each role go with n samples: at least one where a rate is set.

    Parameters
    ----------
    n : int
        Routine samples.
    rates : mapping of role to float
        Controls per routine sample.

    Returns
    -------
    dict of str to int
        In the order of `ROLES`.

    Raises
    ------
    WrongCall
        If a role or a rate is unknown, or there would be more controls than samples.

    Examples
    --------
    >>> count_controls(100, {"standard": 0.05, "blank": 0.03})
    {'standard': 5, 'blank': 3}
    """
    for role, rate in rates.items():
        if role not in ROLES:
            raise unknown("role of a control", role, ROLES)
        if not rate >= 0:
            raise WrongCall(f"the rate of {role} must be a share such as 0.05, got {rate}.")
    counts = {r: max(1, round(rates[r] * n)) for r in ROLES if rates.get(r, 0) > 0}
    total = sum(counts.values())
    if n < 1:
        raise WrongCall("there is no sample to issue ids for.")
    if total > n:
        named = ", ".join(f"{c} {r}" for r, c in counts.items())
        raise WrongCall(
            f"{total} controls ({named}) for {n} samples are more controls than samples; lower the "
            "rates (they are shares, 0.05 is one in twenty) or join it to a larger batch."
        )
    return counts


def issue_ids(
    planned_ids: Sequence[str],
    *,
    rates: Mapping[str, float] | None = None,
    standards: Sequence[str] = (),
    prefix: str = "S",
    first: int = 1,
    width: int = 4,
    batch: int = 40,
    seed: int = 1,
) -> IssuedIds:
    """Issue one number series to samples and controls alike.

    Controls stand at random places, one per equal stretch, so that every stretch of the work has
    its share; a duplicate follows its parent at a random distance.

    Parameters
    ----------
    planned_ids : sequence of str
        Planned points in walking order.
    rates : mapping, optional
        Controls per routine sample by role; default `RATES`.
    standards : sequence of str
        Names of the standards, used in turn; needed when standards are asked for.
    prefix, first, width
        Of the ids: ``S0001`` has the prefix ``S``, the number 1 and 4 digits.
    batch : int, default 40
        Analysed together; the order is random within a batch.
    seed : int, default 1
        Of the random places and order.

    Returns
    -------
    IssuedIds
        Three lists.

    Raises
    ------
    WrongCall
        If a rate cannot be used, there are more controls than samples, or no standard is named.
    """
    import pandas as pd

    rates = RATES if rates is None else rates
    counts = count_controls(len(planned_ids), rates)
    if counts.get("standard") and not standards:
        raise WrongCall(
            "standards are asked for and none is named; give the names of at least one (better "
            "three of different grade), or set the rate of standard to 0."
        )
    if batch < 2:
        raise WrongCall(f"a batch holds at least 2, got {batch}.")
    rng = np.random.default_rng(seed)
    n = len(planned_ids)
    # (place in the series, role, planned point, number of the parent among the planned points)
    rows: list[tuple[float, str, int]] = [(float(i), "routine", i) for i in range(n)]
    taken: set[int] = set()
    for role, count in counts.items():
        edges = np.linspace(0, n, count + 1)
        for low, high in pairwise(edges):
            if role in DUPLICATES:
                free = [i for i in range(int(low), max(int(high), int(low) + 1)) if i not in taken]
                free = free or [i for i in range(n) if i not in taken]
                parent = int(rng.choice(free))
                taken.add(parent)
                rows.append((parent + rng.uniform(0.5, 15.5), role, parent))
            else:
                rows.append((float(rng.uniform(low, high)), role, -1))
    rows.sort(key=lambda r: (r[0], r[1]))
    width = max(width, len(str(first + len(rows) - 1)))
    ids = [f"{prefix}{first + i:0{width}d}" for i in range(len(rows))]
    own = {r[2]: ids[i] for i, r in enumerate(rows) if r[1] == "routine"}
    turn = iter(range(len(rows)))
    key = pd.DataFrame(
        {
            "sample_id": ids,
            "role": [r[1] for r in rows],
            "parent": [own[r[2]] if r[1] in DUPLICATES else None for r in rows],
            "standard": [
                standards[next(turn) % len(standards)] if r[1] == "standard" else None
                for r in rows
            ],
            "planned_id": [planned_ids[r[2]] if r[1] == "routine" else None for r in rows],
        },
        dtype=object,
    )
    key["batch"] = np.arange(len(key)) // batch + 1
    key["analysis_order"] = 0
    for number in key["batch"].unique():
        place = np.flatnonzero(key["batch"] == number)
        key.loc[place, "analysis_order"] = place[0] + 1 + rng.permutation(len(place))
    return IssuedIds(_crew_list(key), _analysis_list(key), key, counts)


def _crew_list(key: pd.DataFrame) -> pd.DataFrame:
    routine = key.loc[key["role"] == "routine", ["sample_id", "planned_id"]].reset_index(drop=True)
    second = key.loc[key["role"] == "field_duplicate"].set_index("parent")["sample_id"]
    also = [second.get(i) for i in routine["sample_id"]]
    routine["also"] = np.array(also, dtype=object)
    return routine


def _analysis_list(key: pd.DataFrame) -> pd.DataFrame:
    columns = ["analysis_order", "batch", "sample_id"]
    return key.sort_values("analysis_order")[columns].reset_index(drop=True)
