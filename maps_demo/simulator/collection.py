"""The samples of a campaign with their controls and preparation, and what each truly holds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from . import rocks
from .contamination import contaminate
from .deposits import ASSOCIATIONS
from .fields import Array, stream
from .ground import Ground
from .layout import Sites
from .measurement import BRASS
from .settings import Settings

if TYPE_CHECKING:
    import pandas as pd

#: what crushing, milling and splitting add: standard deviation of the natural logarithm [-]
PREPARATION_ERROR = 0.03
COARSE_SPLIT_ERROR = 0.07


@dataclass(frozen=True, slots=True, eq=False)
class Collection:
    """Everything that has an id of its own in the field log.

    Parameters
    ----------
    table : pandas.DataFrame
        One row per sample or control, without any slip: columns of the field log, and ``along,
        across, day, visit``.
    place : ndarray, shape (n, n_elements)
        What the soil, rock or sediment at that place holds: the truth. [mg/kg]
    pulp : ndarray, shape (n, n_elements)
        What the powder holds, after sampling and preparation. [mg/kg]
    spikes : ndarray of int
        Rows that were contaminated in the field.
    """

    table: pd.DataFrame
    place: Array
    pulp: Array
    spikes: Array


def collect(ground: Ground, sites: Sites) -> Collection:
    """Take the samples, add the controls, prepare them.

    Parameters
    ----------
    ground : Ground
        Drawn ground.
    sites : Sites
        Where.

    Returns
    -------
    Collection
        Rows in the order of ids within each kind.
    """
    import pandas as pd

    settings = ground.settings
    soils, soil_place = _soils(ground, sites)
    rock_chips, rock_place = _rocks(ground, sites)
    sediments, sediment_place = _sediments(ground, sites)
    table = pd.concat([soils, rock_chips, sediments], ignore_index=True)
    place = np.vstack([soil_place, rock_place, sediment_place])
    spikes = contaminate(ground, sites, table, place)

    rng = stream(settings.seed, "sampling")
    error = settings.sampling_noise * np.array(
        [rocks.SAMPLING_ERROR.get(e, rocks.SAMPLING_ERROR_USUAL) for e in ground.elements]
    )
    sample = place * np.exp(error * rng.standard_normal(place.shape))

    controls, parents, split = _splits(table, settings)
    table = pd.concat([table, controls], ignore_index=True)
    parent_rows = sample[parents]
    parent_rows = parent_rows * np.exp(split[:, None] * rng.standard_normal(parent_rows.shape))
    place = np.vstack([place, place[parents]])
    sample = np.vstack([sample, parent_rows])
    pulp = sample * np.exp(PREPARATION_ERROR * rng.standard_normal(sample.shape))
    _prepare(table, settings)
    brass = brass_day(settings)
    if brass >= 0:
        worn = (table["day"] == brass).to_numpy() & (table["crew"] == "A").to_numpy()
        pulp[worn] += brass_contents(ground.elements)
    return Collection(table, place, pulp, spikes)


def brass_day(settings: Settings) -> int:
    """Give the day on which crew A sieved with worn brass, -1 for never."""
    return min(3, settings.days - 1) if settings.contaminated_batch else -1


def brass_contents(elements: tuple[str, ...]) -> Array:
    """Give what the worn sieve adds to a powder, mg/kg per element."""
    return np.array([BRASS.get(e, 0.0) for e in elements])


def _ids(prefix: str, n: int) -> list[str]:
    width = max(5, len(str(n)))
    return [f"{prefix}{number:0{width}d}" for number in range(1, n + 1)]


def _soils(ground: Ground, sites: Sites) -> tuple[pd.DataFrame, Array]:
    settings = ground.settings
    soils = sites.soils
    n = len(soils)
    every = settings.field_duplicate_every
    doubled = (np.arange(n) % every == every // 2) if every else np.zeros(n, dtype=bool)
    # a field duplicate is dug beside its parent and takes the next number
    source = np.repeat(np.arange(n), 1 + doubled)
    again = np.concatenate([[False], source[1:] == source[:-1]])
    table = soils.iloc[source].reset_index(drop=True)
    rng = stream(settings.seed, "soils")
    table["sample_id"] = _ids(settings.prefix + "S", len(table))
    table["medium"] = "soil"
    table["role"] = np.where(again, "field_duplicate", "routine")
    ids = table["sample_id"].to_numpy(dtype=object)
    table["parent"] = np.where(again, np.roll(ids, 1), None)
    table.loc[again, "planned_id"] = None
    for axis in ("along", "across"):
        table[axis] += np.where(again, rng.normal(0, 1.5, len(table)), 0.0)
    table["fraction_um"] = 2000
    table["grid"] = "Main"
    place = ground.concentrations(
        soils["along"].to_numpy(), soils["across"].to_numpy(), stream(settings.seed, "places")
    )
    return table, place[source]


def _rocks(ground: Ground, sites: Sites) -> tuple[pd.DataFrame, Array]:
    settings = ground.settings
    table = sites.rocks.copy()
    n = len(table)
    rng = stream(settings.seed, "rocks")
    spread = np.array([rocks.SPREAD[e] for e in ground.elements])
    medians = (
        rocks.median_matrix(tuple(table["rock"]), ground.elements)
        if n
        else np.empty((0, len(spread)))
    )
    place = medians * np.exp(1.1 * spread * rng.standard_normal(medians.shape))
    alteration = np.full(n, None, dtype=object)
    for row in np.flatnonzero(table["mineralised"].to_numpy(dtype=bool)) if n else []:
        nearest = min(
            settings.bodies,
            key=lambda b: np.hypot(table["along"][row] - b.along, table["across"][row] - b.across),
        )
        richness = np.exp(rng.normal(3.2, 1.0))
        for element, zone in ASSOCIATIONS[nearest.association].zones.items():
            if element in ground.elements:
                column = ground.elements.index(element)
                place[row, column] *= 1.0 + (zone.contrast - 1.0) * richness
        alteration[row] = rng.choice(["silica", "sericite", "iron stain"])
    table["sample_id"] = _ids(settings.prefix + "R", n)
    table["medium"], table["role"] = "rock", "routine"
    table["lithology"] = table["rock"].str.replace("_", " ") if n else []
    table["alteration"] = alteration
    table["visit"] = 1
    return table.drop(columns=["rock", "radius", "mineralised"]), place


def _sediments(ground: Ground, sites: Sites) -> tuple[pd.DataFrame, Array]:
    settings = ground.settings
    table = sites.sediments.copy()
    rng = stream(settings.seed, "sediments")
    spread = np.array([rocks.SPREAD[e] for e in ground.elements])
    place = np.empty((len(table), len(ground.elements)))
    for row, nodes in enumerate(sites.catchment_nodes):
        # a sediment is the mean of the soils above it, sorted by the water
        nodes = nodes[np.linspace(0, len(nodes) - 1, min(len(nodes), 400)).astype(int)]
        place[row] = ground.concentrations(nodes[:, 0], nodes[:, 1], rng).mean(axis=0)
    place *= np.exp(0.5 * spread * rng.standard_normal(place.shape))
    table["sample_id"] = _ids(settings.prefix + "T", len(table))
    table["medium"], table["role"] = "stream sediment", "routine"
    table["fraction_um"] = 180
    table["visit"] = 1
    return table.drop(columns=["area_km2"]), place


def _splits(table: pd.DataFrame, settings: Settings) -> tuple[pd.DataFrame, Array, Array]:
    """Make pulp and coarse duplicates: second powders of a sample already in the table."""
    import pandas as pd

    routine = np.flatnonzero(
        ((table["medium"] == "soil") & (table["role"] == "routine")).to_numpy()
    )
    every = settings.pulp_duplicate_every
    pulp = routine[every // 3 :: every] if every else routine[:0]
    rock = np.flatnonzero((table["medium"] == "rock").to_numpy())[5::12]
    parents = np.concatenate([pulp, rock]).astype(int)
    columns = ["medium", "day", "date", "crew", "visit"]
    rows = table.iloc[parents][columns].reset_index(drop=True)
    rows["sample_id"] = _ids(settings.prefix + "Q", len(parents))
    rows["role"] = ["pulp_duplicate"] * len(pulp) + ["coarse_duplicate"] * len(rock)
    rows["parent"] = table["sample_id"].to_numpy(dtype=object)[parents]
    split = np.array([0.0] * len(pulp) + [COARSE_SPLIT_ERROR] * len(rock))
    return pd.DataFrame(rows), parents, split


def _prepare(table: pd.DataFrame, settings: Settings) -> None:
    """Write down how each powder was made; some not as it should be."""
    rng = stream(settings.seed, "preparation")
    n = len(table)
    order = np.lexsort((np.arange(n), table["crew"], table["day"]))
    place = np.empty(n, dtype=int)
    place[order] = np.arange(n)
    table["prep_batch"] = [f"PB{number // 24 + 1:04d}" for number in place]
    table["prep_order"] = place % 24 + 1
    rock = (table["medium"] == "rock").to_numpy()
    table["mill"] = np.where(rock, "ring mill", "mortar")
    table["sieve_um"] = np.where(rng.random(n) < 0.985, 250, 500)
    powder = np.clip(rng.normal(8.3, 1.2, n), 2.0, 12.0)
    powder[rng.random(n) < settings.thin_share] = rng.uniform(2.8, 4.8)
    table["powder_ml"] = np.round(powder, 1)
    table["die_mm"] = 32
    table["die_fill"] = np.round(np.clip(powder / 11.0 + rng.normal(0, 0.03, n), 0.1, 1.0), 2)
    moisture = np.clip(rng.lognormal(np.log(3.0), 0.5, n), 0.5, 18.0)
    wet = rng.random(n) < settings.wet_share
    moisture[wet] = rng.uniform(21, 27, int(wet.sum()))
    table["moisture_pct"] = np.round(moisture, 1)
