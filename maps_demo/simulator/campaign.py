"""A whole campaign: ground, samples, readings and laboratory results of one settings record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from .collection import Collection, brass_contents, brass_day, collect
from .fields import Array, stream
from .ground import Ground, make_ground
from .layout import Sites, make_sites
from .measurement import Instrument, analyse, make_instruments, read_xrf
from .placing import scattered
from .settings import Settings
from .standards import BLANK, standard_contents

if TYPE_CHECKING:
    import pandas as pd

#: a standard after so many samples
CHECK_EVERY = 25
#: repeat shots: one sample in so many is read three times
REPEAT_EVERY = 22


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """What the two instruments read, row by row.

    Parameters
    ----------
    table : pandas.DataFrame
        ``sample_id, role, standard, instrument, day, second, reading, batch``.
    value, error : ndarray, shape (n, n_xrf_elements)
        Also below the limit; one-sigma counting error. [mg/kg]
    instruments : tuple of Instrument
        Their true bias and drift.
    """

    table: pd.DataFrame
    value: Array
    error: Array
    instruments: tuple[Instrument, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Laboratory:
    """What was sent to the laboratory and what it found.

    Parameters
    ----------
    table : pandas.DataFrame
        ``sample_id, job, sent, reported, returned`` in the order of dispatch; controls among them.
    elements : tuple of str
        Columns of `value`, gold last.
    value : ndarray, shape (n, n_elements)
        Also outside the limits. [mg/kg]
    controls : pandas.DataFrame
        Standards and blanks put into the jobs: rows for the field log.
    """

    table: pd.DataFrame
    elements: tuple[str, ...]
    value: Array
    controls: pd.DataFrame


@dataclass(frozen=True, slots=True, eq=False)
class Campaign:
    """Everything, before any slip of the pen.

    Parameters
    ----------
    settings : Settings
        What was asked for.
    ground : Ground
        The ground and the planted bodies.
    sites : Sites
        Plan, boundary, road.
    collection : Collection
        Samples, their controls and what they truly hold.
    readings : Readings
        Of the portable XRF.
    laboratory : Laboratory
        Of the laboratory.
    """

    settings: Settings
    ground: Ground
    sites: Sites
    collection: Collection
    readings: Readings
    laboratory: Laboratory


def simulate(settings: Settings) -> Campaign:
    """Simulate a campaign.

    Parameters
    ----------
    settings : Settings
        For example one of `settings.NAMED`.

    Returns
    -------
    Campaign
        The same for the same settings.

    Raises
    ------
    ValueError
        If the settings cannot be made.
    """
    settings = scattered(settings)
    ground = make_ground(settings)
    sites = make_sites(ground)
    collection = collect(ground, sites)
    readings = _read(ground, collection)
    laboratory = _send(ground, collection, readings)
    return Campaign(settings, ground, sites, collection, readings, laboratory)


def _schedule(collection: Collection) -> pd.DataFrame:
    """Put samples, standards, blanks and repeat shots in the order they were read."""
    import pandas as pd

    table = collection.table
    machine = np.where(table["crew"] == "A", 0, 1)
    day = table["day"].to_numpy(dtype=int)
    order = np.lexsort((np.arange(len(table)), day, machine))
    item: list[int] = []
    control: list[str] = []
    columns: list[tuple[int, int]] = []

    def put(row: int, name: str, key: tuple[int, int]) -> None:
        item.append(row)
        control.append(name)
        columns.append(key)

    keys = list(zip(machine[order].tolist(), day[order].tolist(), strict=True))
    for position, row in enumerate(order.tolist()):
        key = keys[position]
        if position == 0 or keys[position - 1] != key:
            count = 0
            for name in (BLANK, "VAR-L", "VAR-M"):
                put(-1, name, key)
        if count and count % CHECK_EVERY == 0:
            put(-1, ("VAR-M", "VAR-L")[count // CHECK_EVERY % 2], key)
            if count % (2 * CHECK_EVERY) == 0:
                put(-1, BLANK, key)
        for _ in range(3 if (position + 1) % REPEAT_EVERY == 0 else 1):
            put(row, "", key)
        count += 1
        if position + 1 == len(keys) or keys[position + 1] != key:
            for name in ("VAR-H", "VAR-M", BLANK):
                put(-1, name, key)
    out = pd.DataFrame(columns, columns=["machine", "day"])
    out["item"], out["control"] = item, control
    return out


def _read(ground: Ground, collection: Collection) -> Readings:
    settings = ground.settings
    table = collection.table
    plan = _schedule(collection)
    days = int(plan["day"].max()) + 1
    bad_day = min(6, settings.days - 1) if settings.bad_batch else -1
    instruments = make_instruments(
        settings.seed, settings.elements, days, bad_day, overlaps=settings.interference
    )
    columns = [ground.elements.index(e) for e in settings.elements]
    known = standard_contents(settings.elements)
    item = plan["item"].to_numpy()
    sample = item >= 0
    pulp = np.empty((len(plan), len(columns)))
    pulp[sample] = collection.pulp[np.ix_(item[sample], columns)]
    for name, contents in known.items():
        pulp[(plan["control"] == name).to_numpy()] = contents
    brass = brass_day(settings)
    if brass >= 0:
        # the blank of the day went through the same sieve
        worn = (plan["control"] == BLANK) & (plan["day"] == brass) & (plan["machine"] == 0)
        pulp[worn.to_numpy()] += brass_contents(settings.elements)
    moisture = np.where(sample, table["moisture_pct"].to_numpy()[item], 0.0)
    powder = np.where(sample, table["powder_ml"].to_numpy()[item], 10.0)
    groups = plan.groupby(["machine", "day"], sort=False)
    position = groups.cumcount().to_numpy()
    size = groups["item"].transform("size").to_numpy()
    part = position / np.maximum(size - 1, 1)
    value, error = np.empty_like(pulp), np.empty_like(pulp)
    for number, instrument in enumerate(instruments):
        mine = (plan["machine"] == number).to_numpy()
        rng = stream(settings.seed, f"counting {instrument.serial}")
        value[mine], error[mine] = read_xrf(
            pulp[mine], settings.elements, instrument, plan["day"].to_numpy()[mine], part[mine],
            moisture[mine], powder[mine], rng, seconds=settings.seconds,
        )  # fmt: skip
    ids = table["sample_id"].to_numpy(dtype=object)
    blank = (plan["control"] == BLANK).to_numpy()
    out = plan[["day"]].copy()
    out["sample_id"] = np.where(sample, ids[item], plan["control"])
    out["role"] = np.where(sample, "", np.where(blank, "blank", "standard"))
    out["standard"] = np.where(sample | blank, "", plan["control"])
    out["instrument"] = np.array([i.serial for i in instruments])[plan["machine"]]
    step = np.minimum(150, 36_000 // size)
    out["second"] = 12 * 3600 + 40 * 60 + position * step
    out["reading"] = plan.groupby("machine").cumcount() + 1
    stamp = [(settings.first_day + timedelta(days=d)).strftime("%m%d") for d in range(days)]
    out["batch"] = [
        f"{'AB'[m]}-{stamp[d]}" for m, d in zip(plan["machine"], plan["day"], strict=True)
    ]
    return Readings(out, value, error, instruments)


def _send(ground: Ground, collection: Collection, readings: Readings) -> Laboratory:
    import pandas as pd

    settings = ground.settings
    table = collection.table
    ids = table["sample_id"].to_numpy(dtype=object)
    role = table["role"].to_numpy(dtype=object)
    medium = table["medium"].to_numpy(dtype=object)
    visit = table["visit"].to_numpy(dtype=int)
    chosen = np.isin(medium, ["rock", "stream sediment"])
    routine = np.flatnonzero((medium == "soil") & (role == "routine"))
    if settings.laboratory_every:
        chosen[routine[:: settings.laboratory_every]] = True
    chosen[_highest(settings, collection, readings, routine, chosen)] = True
    # every second field duplicate and every third pulp duplicate goes along with its parent
    row_of = {name: row for row, name in enumerate(ids)}
    for kind, every in (("field_duplicate", 2), ("pulp_duplicate", 3)):
        for row in np.flatnonzero((role == kind) & (medium == "soil"))[::every]:
            chosen[[row, row_of[table["parent"][row]]]] = True
    rows = np.flatnonzero(chosen)
    half = settings.first_day + timedelta(days=settings.days // 2)
    first = (table["date"].to_numpy() < half)[rows] & (medium[rows] == "soil")
    job = np.where(visit[rows] == 2, 2, np.where(first, 0, 1))
    sent_on = [
        settings.first_day + timedelta(days=settings.days // 2),
        settings.first_day + timedelta(days=settings.days + 1),
        settings.second_day + timedelta(days=settings.second_days + 1),
    ]
    names = [f"N{settings.first_day:%y}-{number}" for number in ("0117", "0131", "0158")]
    known = standard_contents(ground.elements)
    numbers = sum(kind in ("pulp_duplicate", "coarse_duplicate") for kind in role)
    entries: list[tuple[str, int]] = []
    contents: list[Array] = []
    extra: list[dict[str, object]] = []
    for number in range(3):
        for count, row in enumerate(rows[job == number]):
            if count % 20 == 10:
                coarse = len(extra) % 4 == 2
                for control in (("VAR-L", "VAR-M", "VAR-H")[count // 20 % 3], BLANK):
                    numbers += 1
                    name = f"{settings.prefix}Q{numbers:05d}"
                    blank = control == BLANK
                    kind = ("coarse_blank" if coarse else "pulp_blank") if blank else "standard"
                    extra.append(
                        {"sample_id": name, "role": kind, "standard": None if blank else control,
                         "medium": "soil", "date": sent_on[number]}
                    )  # fmt: skip
                    entries.append((name, number))
                    contents.append(known[control])
            entries.append((ids[row], number))
            contents.append(collection.pulp[row])
    elements = (*settings.laboratory_elements, "Au")
    columns = [ground.elements.index(e) for e in elements]
    jobs = np.array([number for _, number in entries], dtype=int)
    pulp = np.array(contents).reshape(len(entries), -1)[:, columns]
    value = analyse(pulp, elements, jobs, settings.seed, digestion=settings.digestion)
    sent = pd.DataFrame(
        {
            "sample_id": [name for name, _ in entries],
            "job": [names[number] for number in jobs],
            "sent": [sent_on[number] for number in jobs],
            "reported": [sent_on[number] + timedelta(days=15 + int(number)) for number in jobs],
            "returned": (jobs < 2) | (not settings.laboratory_pending),
        }
    )
    return Laboratory(sent, elements, value, pd.DataFrame(extra))


def _highest(
    settings: Settings,
    collection: Collection,
    readings: Readings,
    routine: npt.NDArray[np.int64],
    taken: npt.NDArray[np.bool_],
) -> npt.NDArray[np.int64]:
    """Pick soils with the highest readings of base metals and arsenic, to be confirmed."""
    n = settings.laboratory_extra
    if not n:
        return routine[:0]
    first = readings.table.drop_duplicates("sample_id")
    row_of = dict(zip(first["sample_id"], first.index, strict=True))
    ids = collection.table["sample_id"].to_numpy(dtype=object)[routine]
    score = np.zeros(len(routine))
    for element in ("Cu", "As", "Zn", "Pb"):
        if element in settings.elements:
            column = settings.elements.index(element)
            log = np.log(np.maximum(readings.value[[row_of[i] for i in ids], column], 1.0))
            middle = np.median(log)
            score = np.maximum(score, (log - middle) / np.median(np.abs(log - middle)))
    free = ~taken[routine]
    best = np.lexsort((routine, -score))
    return np.sort(routine[best[free[best]][:n]])
