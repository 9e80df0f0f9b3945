"""What is done with the values of failed batches: used, given a wider error, or left out."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from geochem.errors import unknown
from geochem.model.finding import Finding, name_some
from geochem.model.quality import QualityReport
from geochem.model.tables import value_column
from geochem.quality.arrange import BATCH_KEY
from geochem.quality.limits import CHOICES

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.survey import Survey

Floats = npt.NDArray[np.float64]

_KEY = [*BATCH_KEY, "element"]


def treat_failed(
    survey: Survey, report: QualityReport, how: str
) -> tuple[Survey, QualityReport, list[Finding]]:
    """Treat the per-assay values that come from batches which failed for their element.

    ``use``: nothing changes, they are marked. ``down-weight``: the error of each is widened by
    the departure of its batch (and by what its blanks held too much), so that whatever weighs by
    the error believes it less. ``leave out``: readings of the same sample in other batches
    stand for it; where there are none the sample has no value of that assay and element. The
    table of results keeps every value.

    Parameters
    ----------
    survey : Survey
        Joined; not changed.
    report : QualityReport
        From `judge_quality` of that survey.
    how : {"use", "down-weight", "leave out"}
        As in ``[quality] options = { failed_batches = "leave out" }``.

    Returns
    -------
    survey : Survey
        With other per-assay columns, unless `how` is "use".
    report : QualityReport
        With ``failed_batches`` and the action of the verdicts.
    findings : list of Finding
        How many values of which batches.

    Raises
    ------
    WrongCall
        If `how` is none of the three.
    """
    if how not in CHOICES["failed_batches"]:
        raise unknown("treatment of failed batches", how, CHOICES["failed_batches"])
    report = replace(report, failed_batches=how)
    failed = report.verdicts[report.verdicts["verdict"] == "fail"]
    if failed.empty or how == "use":
        return survey, report, []
    cells = _cells(survey, report, failed)
    done = "down-weighted" if how == "down-weight" else "left out"
    action = report.verdicts["action"].to_numpy(dtype=object).copy()
    at = (report.verdicts["verdict"] == "fail").to_numpy()
    action[at] = [f"{a}; {done}" if str(a).startswith("read") else done for a in action[at]]
    report = replace(report, verdicts=report.verdicts.assign(action=action))
    if cells.empty:
        return survey, report, []
    change = _wider if how == "down-weight" else _without
    survey = replace(
        survey,
        samples=change(survey.samples, cells),
        unlocated=change(survey.unlocated, cells),
    )
    batches = sorted({str(b) for b in failed["batch"].dropna()})
    lost = int(cells["n_good"].eq(0).sum())
    end = (
        "their errors were widened by the departure of the batch"
        if how == "down-weight"
        else f"they were left out of the accepted values; {lost} have no other reading"
    )
    return survey, report, [
        Finding(
            "failed-batches-treated", "warning",
            f"{len(cells)} values of {cells['sample_id'].nunique()} samples come from batches that "
            f"failed for their element ({name_some(batches) or 'no batch named'}): {end}.",
            sample_id=str(cells["sample_id"].iloc[0]),
        )
    ]  # fmt: skip


def _cells(survey: Survey, report: QualityReport, failed: pd.DataFrame) -> pd.DataFrame:
    """Give every sample, assay and element that a failed batch touches, with its good readings."""
    import pandas as pd

    results = survey.results
    keep = results["batch"].fillna("").isin(set(failed["batch"].fillna(""))).to_numpy()
    keep = keep & results["element"].isin(set(failed["element"])).to_numpy()
    keep = keep & ~results["sample_id"].isin(set(survey.controls["sample_id"])).to_numpy()
    some = results.loc[keep, [*_KEY, "sample_id"]]
    some = some.assign(**{k: some[k].fillna("") for k in BATCH_KEY})
    known = failed[_KEY].assign(**{k: failed[k].fillna("") for k in BATCH_KEY})
    known = known.merge(_size(report), on=_KEY, how="left", validate="1:1")
    bad = some.reset_index().merge(known, on=_KEY, how="inner", validate="m:1")
    cell = ["assay", "element", "sample_id"]
    touched = bad.groupby(cell, sort=True, observed=True).agg(
        n_bad=("share", "size"), share=("share", "max"), excess=("excess", "max")
    )
    touched = touched.reset_index()
    rest = results[~results.index.isin(bad["index"])]
    rest = rest[rest["sample_id"].isin(set(touched["sample_id"]))]
    rest = rest[rest["element"].isin(set(touched["element"])) & rest["value"].notna()]
    good = rest.assign(
        seen=np.where(rest["below"] | rest["above"], np.nan, rest["value"]),
        limit=np.where(rest["below"], rest["value"], np.nan),
        over=np.where(rest["above"], rest["value"], np.nan),
    )
    good = good.groupby(cell, sort=True, observed=True).agg(
        n_good=("value", "size"), mean=("seen", "mean"), limit=("limit", "min"),
        over=("over", "max"), good_err=("err", "max"),
    ).reset_index()  # fmt: skip
    out = touched.merge(good, on=cell, how="left", validate="1:1")
    out["n_good"] = pd.to_numeric(out["n_good"]).fillna(0).astype(int)
    return out


def _size(report: QualityReport) -> pd.DataFrame:
    """Give how far each batch and element departs: share of the value, and excess in blanks."""
    checks = report.standards
    used = checks[checks["used"].to_numpy(dtype=bool)]
    reference = used["centre"].where(used["source"] == "pxrf", used["certified"])
    reference = reference.fillna(used["centre"])
    size = (used["value"] / reference - 1.0).rename("share")
    keys = [used[k].fillna("") for k in _KEY]
    share = size.groupby(keys, observed=True).median().abs().reset_index()
    if "excess" in report.blanks and len(report.blanks):
        blanks = report.blanks
        found = blanks["excess"].groupby([blanks[k].fillna("") for k in _KEY], observed=True).max()
        return share.merge(found.reset_index(), on=_KEY, how="outer", validate="1:1")
    return share.assign(excess=np.nan)


def _wider(frame: pd.DataFrame, cells: pd.DataFrame) -> pd.DataFrame:
    columns: dict[str, Floats] = {}
    for key, part in cells.groupby(["assay", "element"], sort=True, observed=True):
        name = value_column(str(key[1]), str(key[0]))
        if name + "_err" not in frame.columns:
            continue
        mine = part.set_index("sample_id").reindex(frame["sample_id"])
        value = frame[name].to_numpy(dtype=float)
        err = frame[name + "_err"].to_numpy(dtype=float)
        share = mine["n_bad"] / (mine["n_bad"] + mine["n_good"])
        more = share * np.hypot(
            mine["share"].fillna(0.0).to_numpy() * value, mine["excess"].fillna(0.0).to_numpy()
        )
        hit = mine["n_bad"].notna().to_numpy()
        flagged = frame[[name + "_below", name + "_above"]].any(axis=1).to_numpy()
        wide = np.hypot(np.where(np.isfinite(err), err, 0.0), more.to_numpy())
        columns[name + "_err"] = np.where(hit & ~flagged & np.isfinite(value), wide, err)
    return frame.assign(**columns)


def _without(frame: pd.DataFrame, cells: pd.DataFrame) -> pd.DataFrame:
    columns: dict[str, npt.NDArray[np.generic]] = {}
    for key, part in cells.groupby(["assay", "element"], sort=True, observed=True):
        name = value_column(str(key[1]), str(key[0]))
        if name not in frame.columns:
            continue
        mine = part.set_index("sample_id").reindex(frame["sample_id"])
        hit = mine["n_bad"].notna().to_numpy()
        seen, limit = mine["mean"].to_numpy(dtype=float), mine["limit"].to_numpy(dtype=float)
        # A reading over the range stays a lower limit; one under stays an upper limit.
        over = mine["over"].to_numpy(dtype=float)
        is_over = np.isfinite(over)
        is_under = ~is_over & ~np.isfinite(seen) & np.isfinite(limit)
        instead = np.select([is_over, np.isfinite(seen)], [over, seen], limit)
        columns[name] = np.where(hit, instead, frame[name].to_numpy(dtype=float))
        below = frame[name + "_below"].to_numpy(dtype=bool)
        above = frame[name + "_above"].to_numpy(dtype=bool)
        columns[name + "_below"] = np.where(hit, is_under, below)
        columns[name + "_above"] = np.where(hit, is_over, above)
        err = frame[name + "_err"].to_numpy(dtype=float)
        own = np.where(
            np.isfinite(seen) & ~is_over, mine["good_err"].to_numpy(dtype=float), np.nan
        )
        columns[name + "_err"] = np.where(hit, own, err)
    return frame.assign(**columns)
