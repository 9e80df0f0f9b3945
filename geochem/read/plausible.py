"""Values that are numbers and cannot be right, or hardly: a finding each."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from geochem.elements import SYMBOLS, crustal_abundance, oxide_factor
from geochem.model.finding import Finding, name_some
from geochem.read.detection import ValueBlock
from geochem.read.values import HELD, Kind

#: all parts of a sample together cannot be more than this; analyses add up to 98-102 %
#: (common practice, no source) [mg/kg]
MOST_TOGETHER = 1.03e6
#: with these oxides and the loss on ignition an analysis is whole
_WHOLE = ("Si", "Al", "Fe", "Mg", "Ca", "Na", "K")
LEAST_WHOLE = 90.0
#: a median so many times above or below the crust is rather a wrong unit than an ore (common
#: practice, no source): (for elements above 1 mg/kg in the crust, for rarer ones)
TOO_HIGH = (300.0, 1000.0)
TOO_LOW = (1 / 1000.0, 1 / 1000.0)
#: fewer values than this carry no statistic (median and MAD, threshold)
FEW = 10
_ENOUGH = 8
#: a filled-in limit stands so often, and in this share of the readings (common practice, no source)
MANY_ALIKE, SHARE_ALIKE = 5, 0.15
#: elements that no soil or rock lacks: a median so far under the crust is a unit
NEVER_SCARCE, SCARCE = ("Si", "Al", "Fe"), 1 / 50.0
#: more different limits than this are a limit of each sample, as portable XRF gives them
MANY_LIMITS = 6
_SAID = (
    ("constant-column", "warning",
     "have one and the same reading throughout: a limit or a default value written as a reading, "
     "or a column that was filled down"),
    ("limit-as-reading", "warning",
     "have their lowest reading so often, and so far under the next one, that it is rather a limit "
     "or half a limit written as a reading; if so, write '<' and the limit"),
    ("all-below-detection", "note",
     "have no reading above detection; nothing can be said of their distribution"),
    ("several-limits", "note",
     "have several detection limits; each value keeps its own"),
    ("few-values", "note",
     f"have fewer than {FEW} values: no background or threshold can be made of them"),
)  # fmt: skip


def judge_plausible(blocks: Sequence[ValueBlock]) -> list[Finding]:
    """Look at all values of an assay together; changes blocks where a value is impossible.

    Parameters
    ----------
    blocks : sequence of ValueBlock
        Limits settled, one standard uncertainty.

    Returns
    -------
    list of Finding
        ``above-hundred-percent`` (not used), ``total-above-hundred-percent``,
        ``oxide-total-low``, ``element-range``, ``constant-column``, ``all-below-detection``,
        ``several-limits``, ``few-values``.

    References
    ----------
    Rudnick R. L., Gao S. (2003): Composition of the continental crust. Treatise on Geochemistry
    3.01 (upper crust).
    """
    findings: list[Finding] = []
    for block in blocks:
        if not block.columns.get("is_other"):
            findings += _impossible(block)
    findings += _totals(blocks)
    findings += _columns(blocks)
    return findings


def _impossible(block: ValueBlock) -> list[Finding]:
    oxide = block.columns.get("oxide")
    most = 1e6 * (oxide_factor(oxide) if oxide else 1.0) * 1.0005
    with np.errstate(invalid="ignore"):
        wrong = HELD[block.kind] & (block.value > most)
    if not wrong.any():
        return []
    where = np.flatnonzero(wrong)
    block.kind[where] = Kind.NOT_ANALYSED
    ids = block.columns["sample_id"][where].tolist()
    return [
        Finding(
            "above-hundred-percent", "warning",
            f"{len(where)} values of column '{block.name}' are more than 100 % of "
            f"{oxide or block.element} ({name_some(list(dict.fromkeys(ids)))}) and were not used; "
            f"the unit ({block.columns['unit']}) or the cells are wrong.", block.file,
            int(block.rows[where[0]]), block.name, ids[0], block.element,
        )
    ]  # fmt: skip


def _totals(blocks: Sequence[ValueBlock]) -> list[Finding]:
    """Add up what each sample is made of, oxides as oxides."""
    groups: dict[tuple[str, str, int], list[ValueBlock]] = {}
    for b in blocks:
        known = b.element in SYMBOLS or b.element == "LOI"
        if known and not b.columns.get("long"):
            groups.setdefault((b.file, str(b.columns["assay"]), len(b.rows)), []).append(b)
    findings: list[Finding] = []
    for (file, _, n), mine in groups.items():
        if len(mine) < 2 or any((b.rows != mine[0].rows).any() for b in mine[1:]):
            continue
        total = np.zeros(n)
        seen: dict[str, npt.NDArray[np.bool_]] = {}
        for b in mine:
            oxide = b.columns.get("oxide")
            if b.element == "LOI":
                part = b.value * 1e4
            else:
                part = b.value / (oxide_factor(oxide) if oxide else 1.0)
            here = b.kind == Kind.READING
            if b.element in seen:
                here = here & ~seen[b.element]  # one of two columns of an element counts
            total += np.where(here & np.isfinite(part), part, 0.0)
            seen[b.element] = here | seen.get(b.element, np.zeros(n, dtype=bool))
        ids = mine[0].columns["sample_id"]
        for code, where, what in (
            ("total-above-hundred-percent", total > MOST_TOGETHER,
             "add up to more than 100 % of the sample: a unit or a value is wrong"),
            ("oxide-total-low", _whole(mine, seen) & (total < LEAST_WHOLE * 1e4),
             f"have all major oxides and the loss on ignition, and add up to less than "
             f"{LEAST_WHOLE:g} %: a major part is missing or a unit is wrong"),
        ):  # fmt: skip
            if where.any():
                first = int(np.flatnonzero(where)[0])
                findings.append(
                    Finding(
                        code, "warning",
                        f"{int(where.sum())} rows of '{file}' {what} "
                        f"({name_some(ids[where].tolist())}; the first {total[first] / 1e4:.1f} "
                        "%).", file, int(mine[0].rows[first]), None, ids[first],
                    )
                )  # fmt: skip
    return findings


def _whole(
    blocks: Sequence[ValueBlock], seen: dict[str, npt.NDArray[np.bool_]]
) -> npt.NDArray[np.bool_]:
    n = len(blocks[0].rows)
    if not {*_WHOLE, "LOI"} <= set(seen) or not any(b.columns.get("oxide") for b in blocks):
        return np.zeros(n, dtype=bool)
    whole = np.ones(n, dtype=bool)
    for name in (*_WHOLE, "LOI"):
        whole &= seen[name]
    return whole


def _columns(blocks: Sequence[ValueBlock]) -> list[Finding]:
    said: dict[str, list[tuple[str, str]]] = {c: [] for c, _, _ in _SAID}
    findings: list[Finding] = []
    groups: dict[tuple[str, str], list[ValueBlock]] = {}
    for b in blocks:
        if not b.columns.get("is_other"):
            groups.setdefault((str(b.columns["assay"]), b.element), []).append(b)
    for (assay, element), mine in groups.items():
        readings = np.concatenate([b.value[b.kind == Kind.READING] for b in mine])
        hidden = np.concatenate([b.value[(b.kind == Kind.BELOW) & ~b.inferred] for b in mine])
        below = sum(int((b.kind == Kind.BELOW).sum()) for b in mine)
        if not len(readings):
            if below:
                said["all-below-detection"].append((assay, element))
            continue
        limits = np.unique(hidden)
        if 1 < len(limits) <= MANY_LIMITS and limits[-1] > 1.25 * limits[0]:
            shown = ", ".join(f"{v:.4g}" for v in limits[:4].tolist())
            more = f" and {len(limits) - 4} more" if len(limits) > 4 else ""
            said["several-limits"].append((assay, f"{element} ({shown}{more} ppm)"))
        if len(readings) + below < FEW:
            said["few-values"].append((assay, element))
        if len(readings) >= 3 and float(readings.min()) == float(readings.max()):
            said["constant-column"].append((assay, element))
        elif not below and _filled_in(readings):
            said["limit-as-reading"].append((assay, f"{element} ({readings.min():.4g} ppm)"))
        findings += _range(element, readings, below, mine[0])
    file = blocks[0].file if blocks else None
    for code, severity, what in _SAID:
        named = said[code]
        if not named:
            continue
        assays = list(dict.fromkeys(a for a, _ in named))
        parts = [f"{a}: {name_some([e for b, e in named if b == a])}" for a in assays]
        findings.append(
            Finding(
                code, severity,  # type: ignore[arg-type]
                f"{'; '.join(parts[:6])} {what}.", file, None, None, None,
                named[0][1].split(" ")[0],
            )
        )  # fmt: skip
    return findings


def _filled_in(readings: npt.NDArray[np.float64]) -> bool:
    """Say whether the lowest reading looks like a value put in for what was below detection."""
    values, counts = np.unique(np.round(readings, 9), return_counts=True)
    if len(values) < 4 or counts[0] < max(MANY_ALIKE, SHARE_ALIKE * len(readings)):
        return False
    if counts[0] < 3 * counts[1:].max():
        return False
    # rounded readings crowd at the lowest step too, but then that step is one of theirs
    step = float(np.diff(values[1:]).min())
    apart = float(values[1] - values[0])
    off = values[0] / step
    return apart > 1.5 * step or abs(off - round(off)) > 0.05


def _range(
    element: str, readings: npt.NDArray[np.float64], below: int, block: ValueBlock
) -> list[Finding]:
    usual = crustal_abundance().get(element)
    if usual is None or len(readings) < _ENOUGH or below > len(readings):
        return []
    middle = float(np.median(readings))
    rare = usual < 1.0
    least = SCARCE if element in NEVER_SCARCE else TOO_LOW[rare]
    if least * usual <= middle <= TOO_HIGH[rare] * usual:
        return []
    return [
        Finding(
            "element-range", "warning",
            f"the median of {element} is {middle:.3g} ppm, and the upper crust has {usual:.3g}: "
            f"is the unit of column '{block.name}' ({block.columns['unit']}) right?", block.file,
            None, block.name, None, element,
        )
    ]  # fmt: skip
