"""The ground: rock units, regional trends, cover, scavenging; what soil truly holds anywhere.

Everything is drawn once, on grids and as polygons; afterwards any number of places can be asked,
so that a survey can be sampled again, closer or elsewhere on the same ground.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import shapely
from shapely.geometry import Polygon, box

from . import rocks
from .deposits import multiply
from .fields import Array, Lattice, gaussian_fields, stream
from .settings import Body, Patch, Settings, check
from .terrain import Terrain, make_terrain, stream_lines

#: scales of variation inside a unit: reach [m] and share of the variance [-]; the rest, one fifth,
#: is what changes from one spade to a place ten metres away
SCALES: tuple[tuple[float, float], ...] = ((9000.0, 0.25), (2600.0, 0.30), (650.0, 0.25))
PLACE_SHARE = 1.0 - sum(share for _, share in SCALES)

MARGIN = 1000.0


@dataclass(frozen=True, slots=True)
class Unit:
    """One body of rock, or one patch of cover, in the strike frame.

    Parameters
    ----------
    rock : str
        A key of `rocks.MEDIANS`; of a cover, its kind.
    name : str
        On the map.
    true, mapped : Polygon or None
        Where it is, and where the map draws it.
    share : float
        Of transported material, for a cover. [-]
    """

    rock: str
    name: str
    true: Polygon
    mapped: Polygon | None
    share: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Drawn ground.

    Parameters
    ----------
    settings : Settings
        What was asked for.
    elements : tuple of str
        Columns of every array of concentrations.
    units, covers : tuple of Unit
        Later ones lie over earlier ones.
    lattice : Lattice
        Of the fields.
    variation : ndarray, shape (n_elements, along, across)
        Natural-log departure from the unit's median. [-]
    patchiness : ndarray, shape (along, across)
        Unevenness of halos, standard normal. [-]
    wetness : ndarray, shape (along, across)
        Patches of organic matter, standard normal; zeros where there is none. [-]
    terrain : Terrain
        Height and drainage.
    """

    settings: Settings
    elements: tuple[str, ...]
    units: tuple[Unit, ...]
    covers: tuple[Unit, ...]
    lattice: Lattice
    variation: Array
    patchiness: Array
    wetness: Array
    terrain: Terrain

    def to_map(self, along: Array, across: Array) -> tuple[Array, Array]:
        """Give easting and northing in metres of places in the strike frame."""
        strike = np.deg2rad(self.settings.strike)
        sine, cosine = np.sin(strike), np.cos(strike)
        along, across = np.asarray(along), np.asarray(across)
        return (
            self.settings.easting + along * sine + across * cosine,
            self.settings.northing + along * cosine - across * sine,
        )

    def shape_to_map(self, geometry: shapely.Geometry) -> shapely.Geometry:
        """Give a geometry of the strike frame in the campaign's CRS."""
        return shapely.transform(
            geometry, lambda xy: np.column_stack(self.to_map(xy[:, 0], xy[:, 1]))
        )

    def unit_at(self, along: Array, across: Array) -> npt.NDArray[np.int64]:
        """Give the number of the true unit at each place."""
        found = np.zeros(len(along), dtype=np.int64)
        for number, unit in enumerate(self.units):
            shapely.prepare(unit.true)
            found[shapely.contains_xy(unit.true, along, across)] = number
        return found

    def cover_share(self, along: Array, across: Array) -> Array:
        """Give the share of transported material in the soil at each place, 0 to 1."""
        share = np.zeros(len(along))
        for cover in self.covers:
            shapely.prepare(cover.true)
            share[shapely.contains_xy(cover.true, along, across)] = cover.share
        return share

    def height(self, along: Array, across: Array) -> Array:
        """Give the height of each place in metres."""
        return self.terrain.lattice.read(self.terrain.height, along, across)

    def concentrations(
        self, along: Array, across: Array, rng: np.random.Generator, *, planted: bool = True
    ) -> Array:
        """Give what the soil at each place truly holds.

        Parameters
        ----------
        along, across : ndarray, shape (n,)
            Places in the strike frame. [m]
        rng : numpy.random.Generator
            For what differs between places a few metres apart.
        planted : bool, default True
            With the planted bodies.

        Returns
        -------
        ndarray, shape (n, n_elements)
            Concentrations. [mg/kg]
        """
        spread = self.settings.variability * np.array([rocks.SPREAD[e] for e in self.elements])
        names = tuple(unit.rock for unit in self.units)
        medians = np.log(rocks.median_matrix(names, self.elements))
        log = medians[self.unit_at(along, across)]
        for column in range(len(self.elements)):
            log[:, column] += self.lattice.read(self.variation[column], along, across)
        place = _draw_correlated(self.elements, len(along), rng)
        log += np.sqrt(PLACE_SHARE) * spread * place
        log += np.outer(self.scavenging(along, across), _scavenged(self.elements))
        values = np.exp(log)
        organic = self.organic(along, across)
        if organic.any():
            taken = [rocks.ORGANIC.get(e, rocks.ORGANIC_DILUTION) for e in self.elements]
            values *= np.exp(np.outer(organic, taken))
        bodies = (self.settings.bodies if planted else ()) + self.settings.false_bodies
        if bodies:
            uneven = self.lattice.read(self.patchiness, along, across)
            values = self._mineralise(values, bodies, along, across, uneven)
        share = self.cover_share(along, across)[:, None]
        if share.any():
            carried = np.log(rocks.median_matrix(("alluvium",), self.elements))
            carried = np.exp(carried + 0.5 * spread * place)
            values = (1 - share) * values + share * carried
        return values

    def _mineralise(
        self, values: Array, bodies: tuple[Body, ...], along: Array, across: Array, uneven: Array
    ) -> Array:
        """Put halos on background; soil that crept carries them downslope."""
        if not self.settings.creep:
            return multiply(values, self.elements, bodies, along, across, uneven)
        # a sample holds what came down from places up to the whole creep above it
        up_along, up_across = self.uphill(along, across)
        steps = (0.0, 0.5, 1.0)
        parts = [
            multiply(
                values, self.elements, bodies,
                along + step * self.settings.creep * up_along,
                across + step * self.settings.creep * up_across, uneven,
            )
            for step in steps
        ]  # fmt: skip
        return np.mean(parts, axis=0)

    def uphill(self, along: Array, across: Array) -> tuple[Array, Array]:
        """Give the direction uphill, at length one where the slope is 6 % or more."""
        lattice = self.terrain.lattice
        rise = [
            lattice.read(grid, along, across)
            for grid in np.gradient(self.terrain.height, lattice.cell)
        ]
        slope = np.hypot(*rise)
        length = np.minimum(slope / 0.06, 1.0) / np.maximum(slope, 1e-9)
        return rise[0] * length, rise[1] * length

    def organic(self, along: Array, across: Array) -> Array:
        """Give the strength of organic matter at each place: wet ground near streams, in patches."""
        if not self.settings.organic:
            return np.zeros(len(along))
        near = self.terrain.lattice.read(self.terrain.to_stream, along, across)
        patch = self.lattice.read(self.wetness, along, across)
        wet = np.exp(-near / 300.0) * np.clip(0.6 + 0.6 * patch, 0.0, 1.0)
        return self.settings.organic * wet

    def scavenging(self, along: Array, across: Array) -> Array:
        """Give the strength of manganese and iron oxides at each place, 0 to 1."""
        near = self.terrain.lattice.read(self.terrain.to_stream, along, across)
        patch = self.lattice.read(self.patchiness, along, across)
        return np.exp(-near / 90.0) * np.clip(0.5 - 0.45 * patch, 0.0, 1.0)


def _scavenged(elements: tuple[str, ...]) -> Array:
    return np.array([rocks.SCAVENGED.get(e, 0.0) for e in elements])


def _draw_correlated(elements: tuple[str, ...], n: int, rng: np.random.Generator) -> Array:
    loadings = rocks.loading_matrix(elements)
    own = np.sqrt(1.0 - (loadings**2).sum(axis=1))
    factors = rng.standard_normal((n, loadings.shape[1]))
    return factors @ loadings.T + rng.standard_normal((n, len(elements))) * own


def make_ground(settings: Settings) -> Ground:
    """Draw the ground of a campaign.

    Parameters
    ----------
    settings : Settings
        What is asked for.

    Returns
    -------
    Ground
        The same for the same settings.

    Raises
    ------
    ValueError
        If the settings cannot be made.
    """
    check(settings)
    wanted = {*settings.elements, *settings.laboratory_elements, "Au"}
    elements = tuple(e for e in rocks.ELEMENTS if e in wanted)
    length, width = settings.length, settings.width
    lattice = Lattice.over(length, width, MARGIN, 50.0 if length * width < 2e8 else 100.0)
    rng = stream(settings.seed, "variation")
    loadings = rocks.loading_matrix(elements)
    own = np.sqrt(1.0 - (loadings**2).sum(axis=1))
    spread = settings.variability * np.array([rocks.SPREAD[e] for e in elements])
    variation = np.zeros((len(elements), *lattice.shape))
    for reach, share in SCALES:
        drawn = gaussian_fields(
            lattice, loadings.shape[1] + len(elements), reach, rng, flattening=0.55
        )
        common, single = drawn[: loadings.shape[1]], drawn[loadings.shape[1] :]
        mixed = np.tensordot(loadings, common, axes=1) + own[:, None, None] * single
        variation += np.sqrt(share) * spread[:, None, None] * mixed
    patchiness = gaussian_fields(lattice, 1, 350.0, stream(settings.seed, "patchiness"))[0]
    wetness = np.zeros(lattice.shape)
    if settings.organic:
        wetness = gaussian_fields(lattice, 1, 1200.0, stream(settings.seed, "wetness"))[0]
    return Ground(
        settings,
        elements,
        _make_units(settings),
        tuple(_make_patch(settings, patch) for patch in settings.covers),
        lattice,
        variation,
        patchiness,
        wetness,
        make_terrain(settings.seed, length, width, MARGIN),
    )


def _wave(along: Array, height: float, longest: float, rng: np.random.Generator) -> Array:
    """Draw a smooth curve with a standard deviation of about `height`."""
    curve = np.zeros_like(along)
    for part in range(1, 6):
        length, phase = longest / part, rng.uniform(0, 2 * np.pi)
        curve += np.sin(2 * np.pi * along / length + phase) / part
    return height * curve / 0.85


def _make_units(settings: Settings) -> tuple[Unit, ...]:
    rng = stream(settings.seed, "units")
    half_length = settings.length / 2 + MARGIN
    half_width = settings.width / 2 + MARGIN
    frame = box(-half_length, -half_width, half_length, half_width)
    along = np.linspace(-half_length, half_length, int(2 * half_length / 100) + 1)
    fold = _wave(along, 130.0, 6500.0, rng)
    # contacts from one side to the other; the map draws each a little beside its place
    bands, edge, number = [], -half_width, 0
    low = low_mapped = np.full_like(along, -half_width - 500.0)
    while edge < half_width:
        rock, name, thickness = settings.bands[number % len(settings.bands)]
        edge += thickness
        if edge >= half_width:
            high = high_mapped = np.full_like(along, half_width + 500.0)
        else:
            high = edge + fold + _wave(along, 16.0, 2100.0, rng)
            high_mapped = high + _wave(along, 18.0, 2900.0, rng)
        bands.append(
            Unit(
                rock,
                name,
                _between(along, low, high).intersection(frame),
                _between(along, low_mapped, high_mapped).intersection(frame),
            )
        )
        low, low_mapped = high, high_mapped
        number += 1
    patches = [_make_patch(settings, patch) for patch in settings.intrusions]
    # the map is a mosaic: intrusions are cut out of the bands under them
    drawn = []
    cut = shapely.union_all([p.mapped for p in patches if p.mapped is not None])
    for unit in bands:
        mapped = None if unit.mapped is None else unit.mapped.difference(cut)
        drawn.append(Unit(unit.rock, unit.name, unit.true, mapped))
    return (*drawn, *patches)


def _between(along: Array, low: Array, high: Array) -> Polygon:
    ring = np.concatenate([np.column_stack([along, low]), np.column_stack([along, high])[::-1]])
    return Polygon(ring)


_PATCH_NAMES = {
    "granodiorite": "Aldra Granodiorite",
    "granite": "Brume Granite",
    "ultramafic": "Serrin Ultramafics",
    "ironstone": "Rusk Ironstone",
}


def _make_patch(settings: Settings, patch: Patch) -> Unit:
    """Draw a rounded patch with an uneven rim."""
    key = f"patch {patch.name} {patch.along:.0f} {patch.across:.0f}"
    rng = stream(settings.seed, key)
    angle = np.linspace(0, 2 * np.pi, 73)[:-1]

    def rim(roughness: float) -> Array:
        swell = np.ones_like(angle)
        for wave in range(2, 6):
            swell += roughness / wave * np.sin(wave * angle + rng.uniform(0, 2 * np.pi))
        return swell

    def outline(swell: Array) -> Polygon:
        return Polygon(
            np.column_stack(
                [
                    patch.along + patch.half_length * swell * np.cos(angle),
                    patch.across + patch.half_width * swell * np.sin(angle),
                ]
            )
        )

    half_length, half_width = settings.length / 2 + MARGIN, settings.width / 2 + MARGIN
    frame = box(-half_length, -half_width, half_length, half_width)
    swell = rim(0.22)
    true = outline(swell).intersection(frame)
    mapped = outline(swell * rim(0.04)).intersection(frame) if patch.mapped else None
    name = _PATCH_NAMES.get(patch.name, patch.name)
    return Unit(patch.name, name, true, mapped, patch.share)


def mapped_units(ground: Ground) -> list[tuple[str, shapely.Geometry]]:
    """Give the geological map: names and polygons in the campaign's CRS.

    Parameters
    ----------
    ground : Ground
        Drawn ground.

    Returns
    -------
    list of (str, Polygon)
        Single polygons, no overlaps.
    """
    out = []
    for unit in ground.units:
        if unit.mapped is None or unit.mapped.is_empty:
            continue
        for part in shapely.get_parts(unit.mapped):
            if part.geom_type == "Polygon" and part.area > 400:
                out.append((unit.name, ground.shape_to_map(part)))
    return out


def mapped_streams(ground: Ground) -> list[shapely.Geometry]:
    """Give the streams as lines in the campaign's CRS."""
    return [
        ground.shape_to_map(shapely.LineString(line).simplify(ground.terrain.lattice.cell * 0.7))
        for line in stream_lines(ground.terrain)
    ]
