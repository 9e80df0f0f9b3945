"""What the laboratory gets: a sheet in random order, and the crosswalk that stays at home."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from geochem.errors import WrongCall
from geochem.model.finding import Finding
from geochem.planning.controls import DUPLICATES, count_controls

if TYPE_CHECKING:
    import pandas as pd

#: controls per sample sent: standards and pulp duplicates as Abzalov 2008 (see `controls`)
RATES: dict[str, float] = {"standard": 0.05, "pulp_duplicate": 0.05, "blank": 0.03}
#: about 5 % go to a second laboratory (Abzalov 2008, abstract)
UMPIRE = 0.05

_NUMBERED = re.compile(r"^(.*?)(\d+)$")


@dataclass(frozen=True, slots=True, eq=False)
class Submission:
    """Lists for one dispatch.

    Parameters
    ----------
    sheet : pandas.DataFrame
        ``order, sample_id, material``: for the laboratory; samples and controls look alike.
    umpire : pandas.DataFrame
        Same columns: second portions for another laboratory.
    crosswalk : pandas.DataFrame
        ``sample_id, role, parent, standard, medium, order, laboratory, reason``: kept apart; its
        first columns are read back as a field log when the results come.
    counts : mapping of str to int
        Controls per role.
    findings : tuple of Finding
        What was noticed.
    """

    sheet: pd.DataFrame
    umpire: pd.DataFrame
    crosswalk: pd.DataFrame
    counts: Mapping[str, int]
    findings: tuple[Finding, ...] = field(default=())


def make_submission(
    chosen: pd.DataFrame,
    *,
    known_ids: Iterable[str],
    rates: Mapping[str, float] | None = None,
    standards: Sequence[str] = (),
    umpire: float = UMPIRE,
    material: str = "pulp",
    seed: int = 1,
) -> Submission:
    """Add blind controls to the chosen samples and put all in random order.

    Controls get numbers of the same series as the samples: free ones between them where there
    are, else the next ones.

    Parameters
    ----------
    chosen : pandas.DataFrame
        ``sample_id, medium, reason``.
    known_ids : iterable of str
        Every id in use, controls included.
    rates : mapping, optional
        Controls per sample by role; default `RATES`.
    standards : sequence of str
        Names, used in turn; without any no standard is added and a finding says so.
    umpire : float, default 0.05
        Share whose second portion goes to another laboratory.
    material : str, default "pulp"
        What is sent.
    seed : int, default 1
        Of the order and the choice of duplicates.

    Returns
    -------
    Submission
        Lists.

    Raises
    ------
    WrongCall
        If rates cannot be used, or there are more controls than samples.
    """
    import pandas as pd

    if not 0 <= umpire <= 1:
        raise WrongCall(f"the share of umpire checks must lie between 0 and 1, got {umpire}.")
    findings = []
    rates = dict(RATES if rates is None else rates)
    if rates.get("standard") and not standards:
        rates["standard"] = 0.0
        findings.append(
            Finding(
                "dispatch-no-standards",
                "warning",
                "no standard is known, so the dispatch holds none: name them in [standards] or "
                "[planning] standards; without them the laboratory cannot be judged.",
            )
        )
    rows = chosen.sort_values("sample_id").reset_index(drop=True)
    counts = count_controls(len(rows), rates)
    rng = np.random.default_rng(seed)
    checks = max(1, round(umpire * len(rows))) if umpire > 0 else 0
    new, beyond = _free_ids(
        rows["sample_id"].tolist(), set(known_ids), sum(counts.values()) + checks, rng
    )
    if beyond:
        findings.append(
            Finding(
                "dispatch-ids-at-end",
                "note",
                f"{beyond} of {len(new)} controls have numbers after the last sample, where a "
                "laboratory may guess what they are; leave numbers free for controls next time "
                "(ids.csv does).",
            )
        )
    ids = iter(new)
    sample_ids = rows["sample_id"].to_numpy(dtype=object)
    made = []
    turn = 0
    for role, count in counts.items():
        parents = rng.choice(len(rows), size=count, replace=False) if role in DUPLICATES else None
        for i in range(count):
            standard = None
            if role == "standard":
                standard, turn = standards[turn % len(standards)], turn + 1
            made.append(
                {
                    "sample_id": next(ids), "role": role, "standard": standard,
                    "parent": None if parents is None else sample_ids[parents[i]],
                    "reason": "control",
                }
            )  # fmt: skip
    routine = pd.DataFrame(
        {
            "sample_id": sample_ids, "role": "routine", "parent": None, "standard": None,
            "reason": rows["reason"].to_numpy(dtype=object),
        }
    )  # fmt: skip
    first = pd.concat([routine, pd.DataFrame(made)], ignore_index=True) if made else routine
    first["laboratory"] = "first"
    first["order"] = rng.permutation(len(first)) + 1
    second = pd.DataFrame(
        {
            "sample_id": [next(ids) for _ in range(checks)],
            "role": "umpire",
            "parent": sample_ids[rng.choice(len(rows), size=checks, replace=False)],
            "standard": None,
            "reason": "umpire check",
            "laboratory": "second",
            "order": rng.permutation(checks) + 1,
        }
    )
    crosswalk = pd.concat([first, second], ignore_index=True) if checks else first
    media = dict(zip(rows["sample_id"], rows["medium"], strict=True))
    own = crosswalk["parent"].where(crosswalk["parent"].notna(), crosswalk["sample_id"])
    crosswalk["medium"] = [media.get(i) for i in own]
    for name in ("parent", "standard", "medium"):
        crosswalk[name] = crosswalk[name].astype(object).where(crosswalk[name].notna(), None)
    crosswalk = crosswalk.sort_values(["laboratory", "order"]).reset_index(drop=True)
    columns = [
        "sample_id", "role", "parent", "standard", "medium", "order", "laboratory", "reason",
    ]  # fmt: skip
    return Submission(
        _sheet(crosswalk, "first", material), _sheet(crosswalk, "second", material),
        crosswalk[columns], {**counts, "umpire": checks}, tuple(findings),
    )  # fmt: skip


def _sheet(crosswalk: pd.DataFrame, laboratory: str, material: str) -> pd.DataFrame:
    mine = crosswalk.loc[crosswalk["laboratory"] == laboratory].sort_values("order")
    sheet = mine[["order", "sample_id"]].reset_index(drop=True)
    sheet["material"] = material
    return sheet


def _free_ids(
    ids: Sequence[str], taken: set[str], wanted: int, rng: np.random.Generator
) -> tuple[list[str], int]:
    """Find free numbers in the commonest series of ids; say how many lie after its end."""
    series: dict[tuple[str, int], list[int]] = {}
    for text in ids:
        found = _NUMBERED.match(text)
        if found:
            series.setdefault((found[1], len(found[2])), []).append(int(found[2]))
    if not series:
        return [f"Q{i:04d}" for i in range(1, wanted + len(taken)) if f"Q{i:04d}" not in taken][
            :wanted
        ], wanted
    (prefix, width), numbers = max(series.items(), key=lambda item: (len(item[1]), item[0]))
    used = {t for t in taken if t.startswith(prefix)}

    def name(i: int) -> str:
        return f"{prefix}{i:0{width}d}"

    low, high = min(numbers), max(numbers)
    inside = [i for i in range(low, min(high, low + 200_000)) if name(i) not in used]
    picked = [name(int(i)) for i in rng.permutation(inside)[:wanted]]
    beyond = 0
    i = high
    while len(picked) < wanted:
        i += 1
        if name(i) not in used:
            picked.append(name(i))
            beyond += 1
    return [picked[j] for j in rng.permutation(len(picked))], beyond
