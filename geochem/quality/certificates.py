"""Certified values beside the readings of standards, of a comparable digestion or said why not."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from geochem.model.finding import Finding, name_some

if TYPE_CHECKING:
    import pandas as pd

#: digestions that dissolve (or look through) everything
WHOLE = frozenset({"total", "near-total"})
#: digestions that dissolve a part only
PART = frozenset({"partial", "weak"})
#: kinds of SD that a single result of another laboratory may be judged by
BETWEEN = ("between", "inter", "unstated")

_ASKED = ["name", "element", "kind", "digestion"]


def normal_name(name: str) -> str:
    """Give the form in which names of standards are compared: no case, spaces or separators."""
    return "".join(c for c in name.casefold() if c.isalnum())


def match_certificates(
    rows: pd.DataFrame, standards: pd.DataFrame
) -> tuple[pd.DataFrame, list[Finding]]:
    """Put the certified value beside each reading of a standard.

    Of several certificates for one element the one of the same digestion is taken, else one that
    states none, else another with the mismatch said. A portable XRF counts as total.

    Parameters
    ----------
    rows : pandas.DataFrame
        Readings with ``source, standard, element, digestion``.
    standards : pandas.DataFrame
        Contract `tables.STANDARDS`.

    Returns
    -------
    rows : pandas.DataFrame
        The same rows with ``certified, sd, sd_usable, digestion_note, status``; no certified
        value is NaN, never zero.
    findings : list of Finding
        Standards without certificate, kinds of SD that are not stated.
    """
    import pandas as pd

    out = rows.copy()
    known = _table(standards)
    digestions = rows["digestion"].map({d: _kind(d) for d in rows["digestion"].unique()})
    wanted = pd.DataFrame(
        {
            "name": rows["standard"].map({n: normal_name(n) for n in rows["standard"].unique()}),
            "element": rows["element"],
            "kind": np.where(rows["source"] == "pxrf", "whole", digestions),
            "digestion": np.where(rows["source"] == "pxrf", "total", rows["digestion"]),
        }
    )
    asked = wanted.drop_duplicates().reset_index(drop=True)
    best = _choose(asked, known)
    joined = wanted.merge(best, on=_ASKED, how="left", validate="m:1")
    for name in ("certified", "sd"):
        out[name] = joined[name].to_numpy(dtype=float)
    out["sd_usable"] = joined["sd_usable"].eq(other=True).to_numpy(dtype=bool)
    for name in ("digestion_note", "status"):
        out[name] = joined[name].fillna("").to_numpy(dtype=object)
    return out, _findings(out, known)


def _table(standards: pd.DataFrame) -> pd.DataFrame:
    import pandas as pd

    sd_kind = standards["kind_of_sd"].fillna("unstated").str.casefold()
    usable = sd_kind.str.contains("|".join(BETWEEN)) & standards["sd"].gt(0)
    return pd.DataFrame(
        {
            "name": [normal_name(n or "") for n in standards["standard"]],
            "element": standards["element"].to_numpy(dtype=object),
            "certified": standards["certified"].to_numpy(dtype=float),
            "sd": standards["sd"].to_numpy(dtype=float),
            "sd_usable": usable.to_numpy(dtype=bool),
            "sd_kind": sd_kind.to_numpy(dtype=object),
            "cert_digestion": standards["digestion"].fillna("").to_numpy(dtype=object),
            "cert_kind": [_kind(d) for d in standards["digestion"]],
            "status": standards["status"].fillna("").str.casefold().to_numpy(dtype=object),
            "standard": standards["standard"].to_numpy(dtype=object),
        }
    )


def _kind(digestion: object) -> str:
    if digestion in WHOLE:
        return "whole"
    return str(digestion) if digestion in PART else "unstated"


def _choose(asked: pd.DataFrame, known: pd.DataFrame) -> pd.DataFrame:
    pairs = asked.merge(known, on=["name", "element"], how="inner", validate="m:m")
    pairs = pairs[pairs["certified"].notna()]
    same = pairs["kind"] == pairs["cert_kind"]
    unstated = (pairs["kind"] == "unstated") | (pairs["cert_kind"] == "unstated")
    pairs = pairs.assign(
        rank=np.select([pairs["digestion"] == pairs["cert_digestion"], same, unstated], [0, 1, 2], 3),
        no_sd=~pairs["sd_usable"],
        digestion_note=np.where(
            same | unstated,
            "",
            "certified for " + _words(pairs["cert_kind"]) + " digestion, analysed by "
            + _words(pairs["kind"]),
        ),
    )  # fmt: skip
    order = [*_ASKED, "rank", "no_sd", "certified", "sd"]
    pairs = pairs.sort_values(order, kind="stable").drop_duplicates(_ASKED)
    return pairs[[*_ASKED, "certified", "sd", "sd_usable", "digestion_note", "status"]]


def _words(kind: pd.Series) -> pd.Series:
    return kind.replace({"whole": "total"}).astype(str)


def _findings(rows: pd.DataFrame, known: pd.DataFrame) -> list[Finding]:
    found: list[Finding] = []
    names = {normal_name(n): n for n in sorted(rows["standard"].unique(), reverse=True)}
    lacking = [n for key, n in sorted(names.items()) if key not in set(known["name"])]
    if lacking:
        found.append(
            Finding(
                "standard-without-certificate", "warning",
                f"No certified values are given for the standards {name_some(lacking)}; they are "
                f"judged on their own usual values only. Add them to the table of standards.",
            )
        )  # fmt: skip
    used = known[known["name"].isin(names)]
    vague = sorted(set(used.loc[(used["sd_kind"] == "unstated") & used["sd"].gt(0), "standard"]))
    if vague and (rows["source"] != "pxrf").any():
        found.append(
            Finding(
                "sd-kind-unstated", "note",
                f"The table of standards does not say what kind of SD it gives for "
                f"{name_some(vague)}; it is taken as between laboratories. State kind_of_sd.",
            )
        )  # fmt: skip
    narrow = used[~used["sd_usable"] & used["sd"].gt(0)]
    if len(narrow) and (rows["source"] != "pxrf").any():
        found.append(
            Finding(
                "sd-not-between-laboratories", "note",
                f"The SD of {name_some(sorted(set(narrow['standard'])))} is not one between "
                f"laboratories, so laboratory results are judged by bias in per cent instead.",
            )
        )  # fmt: skip
    mismatch = rows[rows["digestion_note"] != ""]
    for (assay, note), part in mismatch.groupby(
        ["assay", "digestion_note"], sort=True, observed=True
    ):
        elements = list(dict.fromkeys(part["element"]))
        found.append(
            Finding(
                "standard-digestion-mismatch", "note",
                f"{assay}: {name_some(sorted(set(part['standard'])))} is {note}; "
                f"{name_some(elements)} are shown but not judged against it.",
            )
        )  # fmt: skip
    return found
