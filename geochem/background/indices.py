"""Indices, ratios, balances and enrichment factors as further columns, with thresholds.

Columns are named by kind: ``index_CIA``, ``ratio_Rb_Sr``, ``balance_NAME``, ``enrichment_Cu``. A
value that stands behind a limit makes no index: the entry stays empty, and a finding counts them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from geochem.background.median_mad import MedianMad
from geochem.elements import (
    CRUST_SOURCE,
    OXIDES,
    crustal_abundance,
    element_rank,
    formula_mass,
    oxide_factor,
)
from geochem.errors import WrongCall, unknown
from geochem.model import tables
from geochem.model.finding import Finding

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    Array = npt.NDArray[np.float64]

#: name: oxides, whether in moles, publication
INDICES: dict[str, tuple[tuple[str, ...], bool, str]] = {
    "CIA": (("Al2O3", "CaO", "Na2O", "K2O"), True, "Nesbitt & Young 1982, Nature 299:715-717"),
    "CIW": (("Al2O3", "CaO", "Na2O"), True, "Harnois 1988, Sediment. Geol. 55:319-322"),
    "PIA": (("Al2O3", "CaO", "Na2O", "K2O"), True, "Fedo et al. 1995, Geology 23:921-924"),
    "AI": (("MgO", "K2O", "Na2O", "CaO"), False, "Ishikawa et al. 1976, Min. Geol. 26:105-117"),
    "CCPI": (("MgO", "FeO", "Na2O", "K2O"), False, "Large et al. 2001, Econ. Geol. 96:957-971"),
}
_FORMULAS: dict[str, Callable[..., tuple[Array, Array]]] = {
    "CIA": lambda al, ca, na, k: (al, al + ca + na + k),
    "CIW": lambda al, ca, na: (al, al + ca + na),
    "PIA": lambda al, ca, na, k: (al - k, al + ca + na - k),
    "AI": lambda mg, k, na, ca: (mg + k, mg + k + na + ca),
    "CCPI": lambda mg, fe, na, k: (mg + fe, mg + fe + na + k),
}
#: the same in words, for people
_WORDS = {
    "CIA": "100 Al2O3 / (Al2O3 + CaO + Na2O + K2O)",
    "CIW": "100 Al2O3 / (Al2O3 + CaO + Na2O)",
    "PIA": "100 (Al2O3 - K2O) / (Al2O3 + CaO + Na2O - K2O)",
    "AI": "100 (MgO + K2O) / (MgO + K2O + Na2O + CaO)",
    "CCPI": "100 (MgO + FeO) / (MgO + FeO + Na2O + K2O)",
}
#: kinds of column whose threshold is found on log10
_LOG = ("ratio", "enrichment")


def alteration_index(
    name: str, oxides: Mapping[str, npt.ArrayLike], *, correct: bool = False
) -> Array:
    """Give a weathering or alteration index.

    Parameters
    ----------
    name : {"CIA", "CIW", "PIA", "AI", "CCPI"}
        Chemical index of alteration, of weathering, plagioclase index; alteration index of
        Ishikawa; chlorite-carbonate-pyrite index.
    oxides : mapping of str to array_like
        Weight per cent (any unit, the same for all) of the oxides that the index needs; total
        iron as FeO.
    correct : bool, default False
        Take the calcium of apatite off by P2O5 and hold the rest at sodium (McLennan 1993, J.
        Geol. 101:295-303), for CIA, CIW and PIA.

    Returns
    -------
    ndarray
        In per cent; NaN where an oxide is missing.

    Raises
    ------
    WrongCall
        If the index is unknown or an oxide is not given.

    Examples
    --------
    >>> albite = {"Al2O3": 19.44, "CaO": 0.0, "Na2O": 11.82, "K2O": 0.0}
    >>> alteration_index("CIA", albite).round(1).tolist()
    50.0
    """
    if name not in INDICES:
        raise unknown("index", name, INDICES)
    needed, moles, _ = INDICES[name]
    missing = [o for o in (*needed, *(["P2O5"] if correct else [])) if o not in oxides]
    if missing:
        raise WrongCall(f"{name} needs {', '.join(needed)}; {', '.join(missing)} is not given.")
    given = {o: np.asarray(oxides[o], dtype=float) for o in oxides if o in {*needed, "P2O5"}}
    if moles:
        given = {o: v / formula_mass(o) for o, v in given.items()}
    if correct and moles:
        left = np.maximum(given["CaO"] - 10 / 3 * given["P2O5"], 0.0)
        given["CaO"] = np.minimum(left, given["Na2O"])
    over, under = _FORMULAS[name](*(given[o] for o in needed))
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(100 * over / under)


def add_indices(
    samples: pd.DataFrame,
    *,
    indices: Sequence[str] = (),
    ratios: Sequence[str] = (),
    balances: Mapping[str, Mapping[str, Sequence[str]]] | None = None,
    enrichment: Sequence[str] = (),
    reference: str = "Al",
) -> tuple[pd.DataFrame, list[str], tuple[Finding, ...]]:
    """Add the columns asked for to a samples table.

    Parameters
    ----------
    samples : pandas.DataFrame
        Accepted values; not changed.
    indices : sequence of str
        Of `INDICES`.
    ratios : sequence of str
        ``"Rb/Sr"``, by mass.
    balances : mapping of str to {"over": elements, "under": elements}, optional
        Isometric balances by a name of the user's.
    enrichment : sequence of str
        Elements whose ratio to `reference` is compared with that of the upper crust.
    reference : str, default "Al"
        An element that stays put: Al, Ti, Zr, Sc.

    Returns
    -------
    samples : DataFrame of the same kind
        With the further columns.
    columns : list of str
        Their names.
    findings : tuple of Finding
        How many samples have no value, and why.

    Raises
    ------
    WrongCall
        If a name or element is unknown.

    References
    ----------
    .. [1] Enrichment factor: Zoller, Gladney & Duce 1974, Science 183:198-200; balances: Egozcue &
       Pawlowsky-Glahn 2005, Math. Geol. 37:795-828.
    """
    made: dict[str, tuple[Array, list[str]]] = {}
    for name in indices:
        if name not in INDICES:
            raise unknown("index", str(name), INDICES)
        elements = [OXIDES[o] for o in INDICES[name][0]]
        given = {
            o: _detected(samples, e) / oxide_factor(o)
            for o, e in zip(INDICES[name][0], elements, strict=True)
        }
        made[f"index_{name}"] = alteration_index(name, given), elements
    for text in ratios:
        match = re.fullmatch(r"\s*(\w+)\s*/\s*(\w+)\s*", str(text))
        if match is None:
            raise WrongCall(f"a ratio is written like 'Rb/Sr', got {text!r}.")
        over, under = match.groups()
        value = _detected(samples, over) / _detected(samples, under)
        made[f"ratio_{over}_{under}"] = value, [over, under]
    for name, sides in (balances or {}).items():
        if set(sides) != {"over", "under"} or not all(sides.values()):
            raise WrongCall(
                f"balance '{name}' needs 'over' and 'under', each with one element or more."
            )
        value = _balance(samples, name, list(sides["over"]), list(sides["under"]))
        made[f"balance_{name}"] = value, [*sides["over"], *sides["under"]]
    crust = crustal_abundance()
    for element in enrichment:
        for e in (element, reference):
            if e not in crust:
                raise unknown("element of the upper crust", str(e), crust)
        usual = crust[element] / crust[reference]
        value = _detected(samples, element) / _detected(samples, reference) / usual
        made[f"enrichment_{element}"] = value, [element, reference]
    columns = {name: value for name, (value, _) in made.items()}
    findings = [
        Finding(
            "index-incomplete", "note",
            f"{name}: {int((~np.isfinite(value)).sum())} of {len(value)} samples lack a detected "
            f"value of {', '.join(elements)} and have none.",
            column=name,
        )
        for name, (value, elements) in made.items()
        if not np.isfinite(value).all()
    ]  # fmt: skip
    return samples.assign(**columns), list(columns), tuple(findings)


def index_thresholds(
    samples: pd.DataFrame, columns: Sequence[str], *, k: float = 2.0
) -> pd.DataFrame:
    """Give every further column a threshold per medium: median + k MAD.

    Parameters
    ----------
    samples : pandas.DataFrame
        With the columns of `add_indices`.
    columns : sequence of str
        Ratios and enrichment are looked at on log10, indices and balances as they are.
    k : float, default 2
        Of the scaled MAD. [-]

    Returns
    -------
    pandas.DataFrame
        Contract `tables.THRESHOLDS`, the column's name as element; no unit.
    """
    import pandas as pd

    rows = []
    for column in columns:
        log = column.split("_")[0] in _LOG
        for medium in sorted(set(samples["medium"].dropna())):
            value = samples.loc[(samples["medium"] == medium).to_numpy(), column].to_numpy(float)
            value = value[np.isfinite(value)]
            if len(value) < 10:
                continue
            found = MedianMad(k=k, log=log).fit(value)
            rows.append(
                {
                    "medium": medium, "domain": "all", "element": column, "method": found.method,
                    "k": k, "transform": found.transform, "sign": 1, "value": found.value,
                    "low": found.low, "high": found.high, "n": len(value), "n_below": 0,
                    "n_beyond": int((value > found.value).sum()), "unit": "%" if
                    column.startswith("index_") else None, "reason": _reason(column),
                }
            )  # fmt: skip
    return tables.conform(pd.DataFrame(rows, columns=list(tables.THRESHOLDS)), tables.THRESHOLDS)


def _reason(column: str) -> str | None:
    kind, _, name = column.partition("_")
    if kind == "index":
        return f"{_WORDS[name]}{', in moles' if INDICES[name][1] else ''}; {INDICES[name][2]}"
    if kind == "ratio":
        return f"{name.replace('_', ' / ')}, by mass"
    return f"against the upper crust, {CRUST_SOURCE}" if kind == "enrichment" else None


def _detected(samples: pd.DataFrame, element: str) -> Array:
    """Give detected values, NaN elsewhere. [mg/kg]."""
    if tables.value_column(element) not in samples.columns:
        raise unknown("element", element, sorted(tables.elements_of(samples), key=element_rank))
    v = tables.values_of(samples, element)
    good = ~v.below & ~v.above & (v.value > 0)
    return np.where(good, v.value, np.nan)


def _balance(samples: pd.DataFrame, name: str, over: list[str], under: list[str]) -> Array:
    if set(over) & set(under):
        raise WrongCall(f"balance '{name}' has an element on both sides.")
    r, s = len(over), len(under)
    logs = [
        np.log(np.column_stack([_detected(samples, e) for e in side])) for side in (over, under)
    ]
    return np.asarray(np.sqrt(r * s / (r + s)) * (logs[0].mean(axis=1) - logs[1].mean(axis=1)))
