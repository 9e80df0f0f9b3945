"""One value per sample, element and assay, out of all the shots and analyses of it.

Within one assay of one sample a reread replaces what was read before, and values of several methods
or instrument modes are never averaged: the one that covers most samples is taken for the whole
assay, and the others only fill in (a value of another method that settles an "above" of the first
is such a filling-in). What is left are repeat shots; `shots.py` says how they become one value.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from geochem.elements import SYMBOLS, element_rank
from geochem.errors import unknown
from geochem.model.finding import Finding, name_some
from geochem.model.tables import value_column
from geochem.samples.shots import MEDIAN_FROM, merge_shots

if TYPE_CHECKING:
    import numpy.typing as npt
    import pandas as pd

    Floats = npt.NDArray[np.float64]
    Flags = npt.NDArray[np.bool_]
    Ints = npt.NDArray[np.int64]
    Labels = list[tuple[str, str]]

REPEATS = ("mean", "median", "newest")
#: repeats of one sample rarely differ by more (common practice, no source)
UNLIKE = 2.0


class Combined(NamedTuple):
    """Wide columns by name, each of shape (n_samples,), and what was noticed."""

    columns: dict[str, npt.NDArray[np.generic]]
    findings: tuple[Finding, ...]


def is_concentration(element: str) -> bool:
    """Say whether a name is an element or a species of one (not LOI, pH, moisture, balance).

    Examples
    --------
    >>> is_concentration("Cu"), is_concentration("C_inorganic"), is_concentration("LOI")
    (True, True, False)
    """
    return re.split(r"[_-]", element)[0] in SYMBOLS


def combine_assays(
    sample_ids: npt.ArrayLike,
    results: pd.DataFrame,
    roles: pd.DataFrame,
    *,
    prefer_repeat: str = "mean",
    reread_own: Sequence[str] = (),
) -> Combined:
    """Put each assay beside the samples: value, below, above and error per element.

    Parameters
    ----------
    sample_ids : array_like of str, shape (n_samples,)
        The samples, each once; the order of the columns' entries.
    results : pandas.DataFrame
        Contract `tables.RESULTS`, ids as the field log writes them; not changed.
    roles : pandas.DataFrame
        ``sample_id, role, parent``: a ``repeat`` is a further shot of its parent, a ``reread``
        replaces the parent's.
    prefer_repeat : {"mean", "median", "newest"}, default "mean"
        ``mean``: as the rules above; ``median``: always the median; ``newest``: the last shot.
    reread_own : sequence of str, optional
        Samples that were read again under their own id: the last reading of each assay replaces.

    Returns
    -------
    Combined
        Per assay and element ``Cu_ppm__xrf``, ``_below``, ``_above``, ``_err``; per other
        quantity ``LOI__xrf``, in the unit it came in.

    Raises
    ------
    WrongCall
        If `prefer_repeat` is unknown.
    """
    if prefer_repeat not in REPEATS:
        raise unknown("way to combine repeat shots", prefer_repeat, REPEATS)
    import pandas as pd

    ids = pd.Index(np.asarray(sample_ids, dtype=object), dtype=object)
    findings: list[Finding] = []
    target, reread = _targets(results, roles)
    reread = reread | _last_readings(results, reread_own)
    code, names = pd.factorize(target)
    position = np.append(ids.get_indexer(pd.Index(names, dtype=object)), -1)[code]
    del code, target
    use = (position >= 0) & results["value"].notna().to_numpy()
    use &= results["element"].notna().to_numpy() & results["assay"].notna().to_numpy()
    if not use.any():
        return Combined({}, ())
    rows = np.flatnonzero(use)
    of_assay, assays = pd.factorize(results["assay"].to_numpy(dtype=object)[rows], sort=True)
    of_element, elements = pd.factorize(results["element"].to_numpy(dtype=object)[rows], sort=True)
    labels = [(str(a), str(e)) for a in assays for e in elements]
    cell = position[rows].astype(np.int64) * len(labels) + of_assay * len(elements) + of_element
    del of_assay, of_element
    # nearly all cells hold one value: only the others need the rules
    often = np.bincount(cell, minlength=len(ids) * len(labels)) > 1
    again = often[cell]
    alone, rows = rows[~again], rows[again]
    single = cell[~again]
    cell = cell[again]
    order = _shot_order(cell, rows, results)
    cell, rows = cell[order], rows[order]
    value, below, above, err = _numbers(results, rows)
    keep = _last_rereads(cell, reread[rows], findings, labels, ids)
    way = _ways(results)
    keep &= _one_method(
        cell, keep, way[rows], np.concatenate([single, cell]), way[np.concatenate([alone, rows])],
        value, below, above, labels, findings, ids,
    )  # fmt: skip
    cell, value, below = cell[keep], value[keep], below[keep]
    above, err = above[keep], err[keep]
    cells, start, count = np.unique(cell, return_index=True, return_counts=True)
    if prefer_repeat == "newest":
        pick = start + count - 1
        merged = value[pick], below[pick], above[pick], err[pick]
    else:
        merged = merge_shots(
            value, below, above, err, start, count,
            median_from=2 if prefer_repeat == "median" else MEDIAN_FROM,
        )  # fmt: skip
    findings += _say_repeats(cells, count, labels, prefer_repeat)
    findings += _say_unlike(cells, start, count, value, below | above, labels, ids)
    cells = np.concatenate([single, cells])
    first = _numbers(results, alone)
    together = (
        np.concatenate([first[0], merged[0]]), np.concatenate([first[1], merged[1]]),
        np.concatenate([first[2], merged[2]]), np.concatenate([first[3], merged[3]]),
    )  # fmt: skip
    return Combined(_wide(cells, together, labels, len(ids)), tuple(findings))


def _numbers(results: pd.DataFrame, rows: Ints) -> tuple[Floats, Flags, Flags, Floats]:
    return (
        results["value"].to_numpy(dtype=float)[rows],
        results["below"].to_numpy(dtype=bool)[rows],
        results["above"].to_numpy(dtype=bool)[rows],
        results["err"].to_numpy(dtype=float)[rows],
    )


def _shot_order(cell: Ints, rows: Ints, results: pd.DataFrame) -> Ints:
    """Sort by cell, then time, reading number and value: never by the order of the file."""
    import pandas as pd

    when = results["date_read"].to_numpy(dtype="datetime64[ns]")[rows].astype(np.int64)
    shot, words = pd.factorize(results["reading"].to_numpy(dtype=object)[rows], sort=True)
    number = np.append(_number_of(words), np.inf)[shot]
    value, below, above, err = _numbers(results, rows)
    return np.lexsort((err, above, below, value, shot, number, when, cell))


def _number_of(words: npt.NDArray[np.object_]) -> Floats:
    """Read shot numbers as numbers, so that 10 comes after 9; infinite where they are words."""
    import pandas as pd

    numbers = pd.to_numeric(pd.Series(words, dtype=object), errors="coerce").to_numpy(dtype=float)
    return np.where(np.isfinite(numbers), numbers, np.inf)


def _last_readings(results: pd.DataFrame, own: Sequence[str]) -> Flags:
    """Mark the last reading, per assay, of samples that were read again under their own id."""
    last = np.zeros(len(results), dtype=bool)
    if not len(own):
        return last
    rows = np.flatnonzero(results["sample_id"].isin(list(own)).to_numpy(dtype=bool))
    part = results.iloc[rows][["sample_id", "assay", "date_read", "reading"]]
    part = part.assign(number=_number_of(part["reading"].to_numpy(dtype=object)), at=rows)
    when = part.drop_duplicates(["sample_id", "assay", "date_read", "reading"]).sort_values(
        ["sample_id", "assay", "date_read", "number", "reading"], na_position="first"
    )
    newest = when.drop_duplicates(["sample_id", "assay"], keep="last")
    keys = ["sample_id", "assay", "date_read", "reading"]
    same = part.merge(newest[keys].assign(newest=True), on=keys, how="left", validate="m:1")
    last[same["at"].to_numpy()[same["newest"].notna().to_numpy()]] = True
    return last


def _targets(results: pd.DataFrame, roles: pd.DataFrame) -> tuple[npt.NDArray[np.object_], Flags]:
    """Give the id each result counts for, and whether it is a reread."""
    ids = results["sample_id"].to_numpy(dtype=object)
    again = roles.loc[roles["role"].isin(["repeat", "reread"]) & roles["parent"].notna()]
    if not len(again):
        return ids, np.zeros(len(ids), dtype=bool)
    parent = dict(zip(again["sample_id"], again["parent"], strict=True))
    second = set(again.loc[again["role"] == "reread", "sample_id"])
    target = results["sample_id"].map(lambda i: parent.get(i, i)).to_numpy(dtype=object)
    return target, results["sample_id"].isin(second).to_numpy(dtype=bool)


def _last_rereads(
    cell: Ints, reread: Flags, findings: list[Finding], labels: Labels, ids: pd.Index
) -> Flags:
    """Keep only rereads where there are any."""
    keep = np.ones(cell.size, dtype=bool)
    if reread.any():
        replaced = np.isin(cell, cell[reread])
        keep = ~replaced | reread
        named = ids[np.unique(cell[reread] // len(labels))].tolist()
        findings.append(
            Finding(
                "reread-used", "note",
                f"{len(named)} samples were read again and the second reading replaces the first: "
                f"{name_some(named)}.",
                sample_id=str(named[0]),
            )
        )  # fmt: skip
    return keep


def _ways(results: pd.DataFrame) -> Ints:
    """Give a number to each combination of method, digestion and mode, by name."""
    import pandas as pd

    way = np.zeros(len(results), dtype=np.int64)
    for column in ("method", "digestion", "mode"):
        code, words = pd.factorize(results[column].to_numpy(dtype=object), sort=True)
        way = way * (len(words) + 1) + code + 1
    return way


def _one_method(
    cell: Ints, keep: Flags, way: Ints, every_cell: Ints, every_way: Ints, value: Floats,
    below: Flags, above: Flags, labels: Labels, findings: list[Finding], ids: pd.Index,
) -> Flags:  # fmt: skip
    """Keep the shots of one method and mode per cell: the one that covers most samples."""
    import pandas as pd

    out = np.ones(cell.size, dtype=bool)
    if not cell.size or way.min() == way.max():
        return out
    per_cell = pd.Series(way[keep]).groupby(cell[keep]).nunique()
    mixed_cells = per_cell.index[per_cell > 1].to_numpy()
    if not mixed_cells.size:
        return out
    every = pd.DataFrame(
        {"cell": every_cell, "way": every_way, "column": every_cell % len(labels)}
    )
    count = every.drop_duplicates(["cell", "way"]).groupby(["column", "way"]).size()
    # equal coverage: the first by name, so that the file's order decides nothing
    cover = count.reset_index(name="n").sort_values(["n", "way"], ascending=[True, False])
    place = pd.Series(
        np.arange(len(cover)), index=pd.MultiIndex.from_frame(cover[["column", "way"]])
    )
    rank = place.reindex(pd.MultiIndex.from_arrays([cell % len(labels), way])).to_numpy()
    here = np.isin(cell, mixed_cells) & keep
    # a shot that is over the range of one method is settled by a higher value of another
    limit = pd.Series(np.where(above & here, value, -np.inf)).groupby(cell).transform("max")
    detected = here & ~above & ~below
    settles = detected & (value >= limit.to_numpy())
    settled = pd.Series(settles).groupby(cell).transform("any").to_numpy() & np.isfinite(limit)
    out &= ~(here & above & settled)
    alive = here & out
    best = pd.Series(np.where(alive, rank, -1)).groupby(cell).transform("max").to_numpy()
    out &= ~alive | (rank == best)
    named = ids[np.unique(mixed_cells // len(labels))].tolist()
    elements = sorted({labels[i][1] for i in np.unique(mixed_cells % len(labels))})
    findings.append(
        Finding(
            "methods-mixed", "note",
            f"{len(named)} samples have {name_some(elements)} by several methods or modes within "
            "one assay; the one that covers most samples is used and they are not averaged: "
            f"{name_some(named)}. Give the tables different names to keep them apart.",
            sample_id=str(named[0]),
        )
    )  # fmt: skip
    return out


# --- wide ---------------------------------------------------------------------------------------


def _wide(
    cells: Ints, merged: tuple[Floats, Flags, Flags, Floats], labels: Labels, n: int
) -> dict[str, npt.NDArray[np.generic]]:
    width = len(labels)
    row, column = cells // width, cells % width
    value, below, above, err = merged
    by_column = np.argsort(column, kind="stable")
    edge = np.searchsorted(column[by_column], np.arange(width + 1))
    order = sorted(range(width), key=lambda j: (labels[j][0], element_rank(labels[j][1])))
    out: dict[str, npt.NDArray[np.generic]] = {}
    for j in order:
        assay, element = labels[j]
        here = by_column[edge[j] : edge[j + 1]]
        if not here.size:
            continue
        at = row[here]
        numbers = np.full(n, np.nan)
        numbers[at] = value[here]
        if not is_concentration(element):
            out[f"{element}__{assay}"] = numbers
            continue
        errors = np.full(n, np.nan)
        errors[at] = err[here]
        flags = np.zeros((2, n), dtype=bool)
        flags[0, at], flags[1, at] = below[here], above[here]
        name = value_column(element, assay)
        out[name] = numbers
        out[name + "_below"], out[name + "_above"] = flags[0], flags[1]
        out[name + "_err"] = errors
    return out


def _say_unlike(
    cells: Ints, start: Ints, count: Ints, value: Floats, limit: Flags, labels: Labels,
    ids: pd.Index,
) -> list[Finding]:  # fmt: skip
    """Name samples whose repeats are so unlike that the id may stand for two materials."""
    several = np.flatnonzero(count > 1)
    if not several.size:
        return []
    import pandas as pd

    top = np.maximum.reduceat(np.where(limit, -np.inf, value), start)[several]
    low = np.minimum.reduceat(np.where(limit, np.inf, value), start)[several]
    known = np.maximum.reduceat(limit, start)[several] == 0
    known &= low > 0
    where = cells[several][known]
    apart = np.log(top[known] / low[known])
    frame = pd.DataFrame(
        {"sample": where // len(labels), "assay": [labels[c % len(labels)][0] for c in where],
         "apart": apart}
    )  # fmt: skip
    by = frame.groupby(["assay", "sample"])["apart"].agg(["median", "size"]).reset_index()
    # half of the elements, or the only one, apart by more than a factor of two
    bad = by.loc[by["median"] > np.log(UNLIKE)]
    out = []
    for assay, group in bad.groupby("assay", sort=True):
        names = [str(ids[i]) for i in group["sample"]]
        out.append(
            Finding(
                "repeats-disagree", "warning",
                f"{len(names)} samples of assay '{assay}' have repeats that differ by more than "
                f"a factor of {UNLIKE:g} in half of their elements ({name_some(names)}); they were "
                "combined all the same. One id may stand for two materials: give the second an id "
                "of its own, or mark the reading that replaces the other as reread.",
                column="sample_id", sample_id=names[0],
            )
        )  # fmt: skip
    return out


def _say_repeats(cells: Ints, count: Ints, labels: Labels, prefer_repeat: str) -> list[Finding]:
    several = count > 1
    if not several.any():
        return []
    assay_of = np.array([label[0] for label in labels], dtype=object)
    assays = assay_of[cells[several] % len(labels)]
    samples = cells[several] // len(labels)
    how = {
        "mean": f"averaged (the median from {MEDIAN_FROM} on)",
        "median": "reduced to their median",
        "newest": "reduced to the newest",
    }[prefer_repeat]
    out = []
    for assay in sorted(set(assays)):
        here = assays == assay
        most = int(count[several][here].max())
        out.append(
            Finding(
                "repeat-shots", "note",
                f"{len(np.unique(samples[here]))} samples have up to {most} values of one element "
                f"in assay '{assay}'; they were {how}.",
            )
        )  # fmt: skip
    return out
