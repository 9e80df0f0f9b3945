"""Where the spread of an element comes from: ground, sampling, preparation, analysis.

Each kind of duplicate repeats everything below it: a field duplicate sampling, preparation and
analysis; a coarse duplicate preparation and analysis; a pulp duplicate or a repeated shot only
analysis. Differences of their variances give the parts. Sites where both field duplicates were
analysed twice make a balanced design and are preferred when there are enough of them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from geochem.elements import SYMBOLS, element_rank
from geochem.model.finding import Finding, name_some
from geochem.model.quality import VARIANCES
from geochem.model.tables import conform
from geochem.quality.arrange import Arranged, by_text, places
from geochem.stats.censored_normal import fit_censored_normal
from geochem.stats.nested_anova import nested_anova
from geochem.stats.robust_anova import huber_mean_scale, robust_nested_anova, robust_pair_variance

if TYPE_CHECKING:
    import pandas as pd

Floats = npt.NDArray[np.float64]

#: largest share of the total that is fair: all but ground, and analysis alone. [%] (Ramsey,
#: Thompson, Hale 1992, J. Geochem. Explor. 44:23-36; from memory)
FAIR_NOT_GROUND_PCT = 20.0
FAIR_ANALYSIS_PCT = 4.0
#: pairs, sites and samples needed; a larger share of limits and the spread is not known
LEAST_PAIRS = 8
LEAST_SITES = 8
LEAST_SAMPLES = 20
MOST_BELOW = 0.3

_ANALYSIS = ("pulp_duplicate", "repeat")


def split_variances(
    arranged: Arranged, pairs: pd.DataFrame, media: dict[str, str]
) -> tuple[pd.DataFrame, list[Finding]]:
    """Give the parts of the variance of log10 values, classical and robust.

    Parameters
    ----------
    arranged : Arranged
        Results of routine samples: the total.
    pairs : pandas.DataFrame
        From `pair_duplicates`; only those used.
    media : dict of str to str
        Medium of each sample; total and duplicates are taken within one.

    Returns
    -------
    table : pandas.DataFrame
        Contract `VARIANCES`; parts ``ground, sampling, preparation, analysis, total``; sampling
        holds preparation too when there are no coarse duplicates.
    findings : list of Finding
        Elements whose map would show sampling and analysis more than ground.
    """
    used = pairs[pairs["used"].to_numpy(dtype=bool)]
    used = used.loc[
        used["role"].isin(["field_duplicate", "coarse_duplicate", *_ANALYSIS]),
        ["assay", "element", "role", "sample_id", "parent", "first", "second"],
    ]
    empty = conform(used.iloc[:0], VARIANCES)
    if used.empty:
        return empty, []
    used = used.assign(
        medium=np.array([media.get(str(i), "") for i in used["parent"]], dtype=object),
        gap=np.log10(used["second"].astype(float) / used["first"].astype(float)),
    )
    totals = _totals(arranged, media, set(used["assay"]))
    rows: list[dict[str, object]] = []
    for (assay, element, medium), part in by_text(used, ["assay", "element", "medium"]):
        if element not in SYMBOLS or (assay, medium, element) not in totals:
            continue
        here = {"assay": assay, "medium": medium or None, "element": element}
        rows += [{**here, **r} for r in _parts(part, totals[assay, medium, element])]
    import pandas as pd

    table = conform(pd.DataFrame(rows, columns=list(VARIANCES)), VARIANCES)
    return table, _findings(table)


def _totals(
    arranged: Arranged, media: dict[str, str], assays: set[str]
) -> dict[tuple[str, str, str], tuple[float, float, int]]:
    """Give variance of log10 values of routine samples, classical and robust, and their number.

    Values below detection and beyond the range count as limits: with any of them both variances
    are that of a censored normal fit. Not where more than `MOST_BELOW` of the values are limits.
    """
    results = arranged.results
    import pandas as pd

    keep = ~results["control"].to_numpy() & results["assay"].isin(assays).to_numpy()
    keep &= results["value"].to_numpy() > 0
    names = results["sample_id"].cat.categories
    medium, found = pd.factorize(
        np.array([media.get(str(n), "") for n in names], dtype=object), sort=True
    )
    here = pd.Categorical.from_codes(
        medium[results["sample_id"].cat.codes.to_numpy()[keep]], pd.Index(found, dtype=object)
    )
    rows = results.loc[keep, ["assay", "element", "value", "below", "above"]].assign(medium=here)
    out: dict[tuple[str, str, str], tuple[float, float, int]] = {}
    values, unders, overs = (rows[n].to_numpy() for n in ("value", "below", "above"))
    for key, at in places(rows, ["assay", "medium", "element"]):
        value, below, above = values[at], unders[at], overs[at]
        limit = below | above
        if len(at) < LEAST_SAMPLES or limit.mean() > MOST_BELOW:
            continue
        log = np.log10(value)
        if limit.any():
            fit = fit_censored_normal(log, below, above)
            if fit is None:
                continue
            whole = firm = fit.sd**2
        else:
            whole, firm = float(log.var(ddof=1)), huber_mean_scale(log)[1] ** 2
        out[key[0], key[1], key[2]] = whole, firm, len(log)
    return out


def _parts(part: pd.DataFrame, total: tuple[float, float, int]) -> list[dict[str, object]]:
    sites = _balanced(part)
    if len(sites) >= LEAST_SITES:
        split = nested_anova(sites)
        classical = {"sampling": split.sampling, "analysis": split.analysis}
        _, sampling, analysis = robust_nested_anova(sites)
        robust = {"sampling": sampling, "analysis": analysis}
        numbers = {"sampling": len(sites), "analysis": 2 * len(sites)}
        roles = {"sampling": "balanced field duplicates", "analysis": "balanced field duplicates"}
    else:
        classical, robust, numbers, roles = _from_pairs(part)
    if "analysis" not in classical:
        return []
    whole, firm, n_total = total
    if "sampling" in classical:
        for found, everything in ((classical, whole), (robust, firm)):
            found["ground"] = max(everything - sum(found.values()), 0.0)
        numbers["ground"], roles["ground"] = n_total, "routine samples less the rest"
    classical["total"], robust["total"] = whole, firm
    numbers["total"], roles["total"] = n_total, "routine samples"
    out: list[dict[str, object]] = []
    for name in ("ground", "sampling", "preparation", "analysis", "total"):
        if name not in classical:
            continue
        share = 100 * classical[name] / whole if whole > 0 else np.nan
        firm_share = 100 * robust[name] / firm if firm > 0 else np.nan
        out.append(
            {
                "part": name, "variance": classical[name], "share_pct": share,
                "robust_variance": robust[name], "robust_share_pct": firm_share,
                "n": numbers[name], "roles": roles[name],
            }
        )  # fmt: skip
    return _judged(out)


def _from_pairs(
    part: pd.DataFrame,
) -> tuple[dict[str, float], dict[str, float], dict[str, int], dict[str, str]]:
    levels = (
        ("analysis", _ANALYSIS), ("preparation", ("coarse_duplicate",)),
        ("sampling", ("field_duplicate",)),
    )  # fmt: skip
    classical: dict[str, float] = {}
    robust: dict[str, float] = {}
    numbers: dict[str, int] = {}
    roles: dict[str, str] = {}
    for name, kinds in levels:
        mine = part[part["role"].isin(kinds)]
        gap = mine["gap"].to_numpy(dtype=float)
        if len(gap) < LEAST_PAIRS or (name != "analysis" and "analysis" not in classical):
            continue
        under, firm_under = sum(classical.values()), sum(robust.values())
        classical[name] = max(float((gap**2).mean()) / 2 - under, 0.0)
        robust[name] = max(robust_pair_variance(gap) - firm_under, 0.0)
        numbers[name] = len(gap)
        roles[name] = ", ".join(sorted(set(mine["role"]))).replace("_", " ")
    return classical, robust, numbers, roles


def _balanced(part: pd.DataFrame) -> Floats:
    """Give (sites, 2, 2) log10 values of sites where both field duplicates were analysed twice."""
    again = part[part["role"].isin(_ANALYSIS)].drop_duplicates("parent").set_index("parent")
    field = part[part["role"] == "field_duplicate"].drop_duplicates("parent")
    both = field[field["parent"].isin(again.index) & field["sample_id"].isin(again.index)]
    if both.empty:
        return np.empty((0, 2, 2))
    one, two = again.loc[both["parent"]], again.loc[both["sample_id"]]
    values = [[f["first"].to_numpy(float), f["second"].to_numpy(float)] for f in (one, two)]
    return np.log10(np.array(values)).transpose(2, 0, 1)


def _judged(rows: list[dict[str, object]]) -> list[dict[str, object]]:
    share = {str(r["part"]): float(str(r["robust_share_pct"])) for r in rows}
    said: list[str] = []
    if "ground" in share and 100 - share["ground"] > FAIR_NOT_GROUND_PCT:
        said.append(
            f"sampling and analysis make {100 - share['ground']:.0f} % of the variance, "
            f"{FAIR_NOT_GROUND_PCT:g} % is fair"
        )
    if share["analysis"] > FAIR_ANALYSIS_PCT:
        said.append(
            f"analysis makes {share['analysis']:.0f} % of the variance, "
            f"{FAIR_ANALYSIS_PCT:g} % is fair"
        )
    if "ground" not in share:
        said.append("no field duplicates: sampling is not known")
    verdict = "warn" if any("fair" in s for s in said) else "pass"
    for r in rows:
        r["verdict"], r["reason"] = verdict, "; ".join(said) or None
    return rows


def _findings(table: pd.DataFrame) -> list[Finding]:
    out: list[Finding] = []
    bad = table[(table["part"] == "ground") & (100 - table["robust_share_pct"] > 50)]
    for (assay,), part in by_text(bad, ["assay"]):
        named = [
            f"{e} {100 - s:.0f} %"
            for e, s in sorted(
                zip(part["element"], part["robust_share_pct"], strict=True),
                key=lambda p: element_rank(p[0]),
            )
        ]
        out.append(
            Finding(
                "variance-not-ground", "warning",
                f"{assay}: sampling, preparation and analysis make more than half of the variance "
                f"of {name_some(named)}; a map of these shows noise. Take larger samples or read "
                f"longer.",
            )
        )  # fmt: skip
    return out
