"""Several laboratories, methods and digestions in one table: each way an assay of its own.

Two methods measure different things in the same sample (a weak leach frees a tenth of what a total
digestion does), so that values of one element by several ways never share a column. What is by no
stated method is kept apart too. A value over the range of one way and settled by another is no
second assay: the re-assay takes its place.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.read.detection import ValueBlock
from geochem.read.values import HELD, Kind

PARTS = ("laboratory", "method", "digestion")
#: two columns of an element agree so well when they are one measurement in two units
TWIN = 0.02


def separate_ways(
    blocks: Sequence[ValueBlock], assay: str
) -> tuple[list[ValueBlock], list[Finding]]:
    """Let re-assays replace what is over range, and give each way its own assay.

    Parameters
    ----------
    blocks : sequence of ValueBlock
        All values of one assay, limits settled; changed.
    assay : str
        Its name.

    Returns
    -------
    blocks : list of ValueBlock
        ``columns["assay"]`` names the assay of each.
    findings : list of Finding
        ``over-range-replaced`` and ``assay-parted``.
    """
    twins = _drop_twins(blocks)
    names: dict[tuple[str | None, ...], int] = {}
    ways = _ways_of(blocks, names)
    kinds = {id(code): np.unique(code).tolist() for code in ways}
    findings: list[Finding] = []
    if twins:
        findings.append(
            Finding(
                "element-in-two-units", "note",
                f"assay '{assay}': {name_some(twins)} hold the same values in two units or forms; "
                "they were read once.", blocks[0].file,
            )
        )  # fmt: skip
    by_element: dict[str, list[int]] = {}
    for i, block in enumerate(blocks):
        by_element.setdefault(block.element, []).append(i)
    several: dict[str, list[int]] = {}
    for element, mine in by_element.items():
        found = sorted({int(w) for i in mine for w in kinds[id(ways[i])]})
        if len(found) > 1:
            several[element] = found
    replaced: dict[str, list[str]] = {}
    for element, mine in by_element.items():
        if element not in several and len(mine) < 2:
            continue
        samples = _replace_over_range([blocks[i] for i in by_element[element]],
                                      [ways[i] for i in by_element[element]])  # fmt: skip
        if samples:
            replaced[element] = samples
    if replaced:
        said = [f"{e} {len(s)}" for e, s in replaced.items()]
        first = next(iter(replaced.values()))
        findings.append(
            Finding(
                "over-range-replaced", "note",
                f"assay '{assay}': values over the range of one method were replaced by the value "
                f"of another ({name_some(said)} samples; first {name_some(first)}).",
                blocks[0].file, None, None, first[0], next(iter(replaced)),
            )
        )  # fmt: skip
    conflict: dict[str, set[int]] = {}
    for element in several:
        held = {
            int(w)
            for i in by_element[element]
            for w in _held_ways(ways[i], kinds[id(ways[i])], blocks[i])
        }
        if len(held) > 1:
            conflict[element] = held
    if not conflict:
        for block in blocks:
            block.columns["assay"] = assay
        return list(blocks), findings
    label = _labels(names, {w for held in conflict.values() for w in held}, assay)
    out: list[ValueBlock] = []
    for block, way in zip(blocks, ways, strict=True):
        codes = kinds[id(way)]
        for w in codes:
            part = block if len(codes) == 1 else _part(block, np.flatnonzero(way == w))
            part.columns["assay"] = label.get(int(w), assay)
            out.append(part)
    used = sorted({str(b.columns["assay"]) for b in out if HELD[b.kind].any()})
    findings.append(
        Finding(
            "assay-parted", "warning",
            f"assay '{assay}' holds {name_some(sorted(conflict))} by several laboratories, methods "
            f"or digestions; they are kept apart as the assays {', '.join(used)}. Name the one to "
            "use first in [quality] prefer.", blocks[0].file,
        )
    )  # fmt: skip
    return out, findings


def _held_ways(way: npt.NDArray[np.int64], known: list[int], block: ValueBlock) -> list[int]:
    """List the ways in which a block has values."""
    held = HELD[block.kind]
    if len(known) == 1:
        return known if held.any() else []
    return [int(w) for w in np.unique(way[held]).tolist()]


def _drop_twins(blocks: Sequence[ValueBlock]) -> list[str]:
    """Empty the second of two columns that say the same (``Fe_%`` and ``Fe2O3_%``)."""
    groups: dict[tuple[str, str, str | None], list[ValueBlock]] = {}
    for b in blocks:
        if not b.columns.get("long") and b.columns.get("method_name") is None:
            groups.setdefault((b.file, b.element, None), []).append(b)
    said = []
    for mine in groups.values():
        for later in range(1, len(mine)):
            a, b = mine[0], mine[later]
            if len(a.rows) != len(b.rows) or (a.rows != b.rows).any():
                continue
            both = (a.kind == Kind.READING) & (b.kind == Kind.READING)
            if both.sum() < 2:
                continue
            with np.errstate(divide="ignore", invalid="ignore"):
                apart = np.abs(a.value[both] / b.value[both] - 1)
            # a unit of fewer digits differs by its rounding
            if float(np.quantile(apart, 0.9)) > TWIN:
                continue
            there = HELD[a.kind]
            b.kind[there & HELD[b.kind]] = Kind.NOT_ANALYSED
            b.columns["twin"] = True
            said.append(f"'{a.name}' and '{b.name}'")
    return said


def _ways_of(
    blocks: Sequence[ValueBlock], names: dict[tuple[str | None, ...], int]
) -> list[npt.NDArray[np.int64]]:
    """Give the way of every value of every block, as numbers into `names`."""
    # columns of one element in one file that no method tells apart are told apart by their header
    headers: dict[tuple[str, str], list[str]] = {}
    methods: dict[tuple[str, str], list[str | None]] = {}
    for b in blocks:
        if not b.columns.get("twin"):
            headers.setdefault((b.file, b.element), []).append(b.name)
            methods.setdefault((b.file, b.element), []).append(b.columns.get("method_name"))
    seen: dict[tuple[str, str, str], int] = {}
    # the columns of a wide table share their rows' facts: looked at once
    shared: dict[tuple[int, ...], tuple[npt.NDArray[np.int64], list[tuple[str | None, ...]]]] = {}
    made: dict[tuple[int, ...], npt.NDArray[np.int64]] = {}
    out = []
    for b in blocks:
        given = [b.columns.get(key) for key in PARTS]
        key = (*(id(g) for g in given), len(b.rows))
        if key not in shared:
            shared[key] = _combinations(given, len(b.rows))
        inverse, ways = shared[key]
        column = None
        mine = headers.get((b.file, b.element), [])
        if len(mine) > 1 and not b.columns.get("long") and not b.columns.get("twin"):
            number = seen[b.file, b.element, b.name] = seen.get((b.file, b.element, b.name), 0) + 1
            by = methods[b.file, b.element]
            apart = len(set(by)) == len(by)
            if not apart and (all(w[1] is None for w in ways) or mine.count(b.name) > 1):
                column = b.name if number == 1 else f"{b.name} {number}"
        numbers = tuple(names.setdefault((*w, column), len(names)) for w in ways)
        code = made.get((*key, *numbers))
        if code is None:
            code = made[(*key, *numbers)] = np.array(numbers, dtype=np.int64)[inverse]
        out.append(code)
    return out


def _combinations(
    given: Sequence[Any], n: int
) -> tuple[npt.NDArray[np.int64], list[tuple[str | None, ...]]]:
    """Give numbers to the combinations of laboratory, method and digestion that rows have."""
    import pandas as pd

    code = np.zeros(n, dtype=np.int64)
    pieces = []
    for column in given:
        if not isinstance(column, np.ndarray):
            pieces.append((np.zeros(n, dtype=np.int64), [column]))
            continue
        codes, words = pd.factorize(column, use_na_sentinel=False)
        texts = [None if w is None or w != w else str(w) for w in words.tolist()]
        pieces.append((codes.astype(np.int64), texts))
        code = code * (len(texts) + 1) + codes
    _, first, inverse = np.unique(code, return_index=True, return_inverse=True)
    ways = [tuple(texts[int(codes[at])] for codes, texts in pieces) for at in first.tolist()]
    return inverse.astype(np.int64), ways


def _replace_over_range(blocks: list[ValueBlock], ways: list[npt.NDArray[np.int64]]) -> list[str]:
    """Put the reading of another way where a value is over range; changes the blocks."""
    over: dict[str, list[tuple[int, int]]] = {}
    for i, b in enumerate(blocks):
        ids = b.columns["sample_id"]
        for j in np.flatnonzero(b.kind == Kind.ABOVE).tolist():
            over.setdefault(ids[j], []).append((i, j))
    if not over:
        return []
    named = []
    for i, b in enumerate(blocks):
        ids = b.columns["sample_id"]
        reading = np.flatnonzero(b.kind == Kind.READING)
        wanted = [j for j in reading.tolist() if ids[j] in over]
        for j in wanted:
            for k, at in over[ids[j]]:
                target = blocks[k]
                same = ways[k][at] == ways[i][j] and (i == k or b.file != target.file)
                if same or target.kind[at] != Kind.ABOVE:
                    continue
                if b.value[j] < target.value[at] * (1 - 1e-9):
                    continue
                target.value[at], target.err[at] = b.value[j], b.err[j]
                target.kind[at], b.kind[j] = Kind.READING, Kind.NOT_ANALYSED
                _move_text(target, at, b, j)
                named.append(str(ids[j]))
                break
    return list(dict.fromkeys(named))


def _move_text(target: ValueBlock, at: int, source: ValueBlock, j: int) -> None:
    """Let method, unit, row and raw text of a replaced value be those of the re-assay."""
    for key in ("method", "digestion", "laboratory", "unit_given"):
        given, new = target.columns.get(key), source.columns.get(key)
        if isinstance(given, np.ndarray) and isinstance(new, np.ndarray):
            given = given.copy()
            given[at] = new[j]
            target.columns[key] = given
    target.rows = target.rows.copy()
    target.rows[at] = source.rows[j]
    mine, theirs = target.columns["raw"], source.columns["raw"]

    def raw(keep: Any, mine: Any = mine, theirs: Any = theirs) -> npt.NDArray[Any]:
        texts = np.array(mine(keep), dtype=object)
        index = np.arange(len(target.rows))[keep]
        texts[index == at] = str(theirs(np.array([j]))[0])
        return texts

    target.columns["raw"] = raw


def _labels(
    names: Mapping[tuple[str | None, ...], int], clashing: set[int], assay: str
) -> dict[int, str]:
    """Name each way by what tells it from the others."""
    ways = {number: way for way, number in names.items()}
    apart = [k for k in range(len(PARTS) + 1) if len({ways[w][k] for w in clashing}) > 1]
    # a method says enough when every method has one digestion and one laboratory
    if 1 in apart:
        for k in (2, 0):
            pairs = {(ways[w][1], ways[w][k]) for w in clashing}
            if k in apart and len(pairs) == len({m for m, _ in pairs}):
                apart.remove(k)
    out: dict[int, str] = {}
    taken: dict[str, tuple[str | None, ...]] = {}
    for number in sorted(ways, key=lambda n: tuple(str(p) for p in ways[n])):
        way = ways[number]
        words = [way[k] or ("" if k == len(PARTS) else "unknown") for k in apart]
        slug = re.sub(r"\W+", "_", "_".join(w for w in words if w).casefold()).strip("_")
        name = f"{assay}_{slug}" if slug else assay
        key = tuple(way[k] for k in apart)
        while taken.setdefault(name, key) != key:
            name += "_"
        out[number] = name
    return out


def _part(block: ValueBlock, keep: npt.NDArray[np.int64]) -> ValueBlock:
    columns: dict[str, Any] = {}
    for key, given in block.columns.items():
        if callable(given):
            columns[key] = _raw_of(given, keep)
        elif isinstance(given, np.ndarray) and len(given) == len(block.rows):
            columns[key] = given[keep]
        else:
            columns[key] = given
    for key, of in (("method_name", "method"), ("digestion_name", "digestion")):
        words = {w for w in columns[of].tolist() if w is not None}
        columns[key] = words.pop() if len(words) == 1 else None
    return ValueBlock(
        block.element, block.name, block.file, block.rows[keep], block.value[keep],
        block.err[keep], block.kind[keep], block.sigma, block.limit,
        None if block.row_limit is None else block.row_limit[keep], block.inferred[keep],
        block.group[keep], columns,
    )  # fmt: skip


def _raw_of(given: Any, keep: npt.NDArray[np.int64]) -> Any:
    return lambda rows: given(keep[rows])
