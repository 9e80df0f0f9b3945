"""Layout part of a plan: from `[planning]` and the layers to points, chances and cost."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from geochem.campaign.settings import Settings
from geochem.errors import WrongCall, nearest
from geochem.model.finding import Finding

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from geochem.planning.chances import Body, Halo

Facts = list[tuple[str, str]]
State = Mapping[str, Any]


@dataclass(frozen=True, slots=True, eq=False)
class LaidOut:
    """Layout part of a plan."""

    points: gpd.GeoDataFrame | None = None
    facts: Facts = field(default_factory=list)
    trade_off: pd.DataFrame | None = None
    body_words: str = ""
    middle: tuple[float, float] | None = None
    findings: Sequence[Finding] = ()


def inline_table(
    table: Mapping[str, Any], name: str, needed: Sequence[str], other: Sequence[str] = ()
) -> dict[str, Any]:
    """Check the keys of an inline table of `[planning]`."""
    given: dict[str, Any] = dict(table[name])
    allowed = [*needed, *other]
    for key in given:
        if key not in allowed:
            raise WrongCall(
                f"[planning] {name}: unknown key '{key}'; known: {', '.join(allowed)}."
                f"{nearest(key, allowed)}"
            )
    missing = [k for k in needed if k not in given]
    if given and missing:
        raise WrongCall(f"[planning] {name}: {', '.join(missing)} missing.")
    return given


def place_of(table: Mapping[str, Any], name: str) -> tuple[float, float] | None:
    """Read a place of `[planning]`: easting, northing."""
    given = inline_table(table, name, ("easting", "northing"))
    if not all(math.isfinite(v) for v in given.values()):
        raise WrongCall(f"[planning] {name}: easting and northing must be numbers of metres.")
    return (float(given["easting"]), float(given["northing"])) if given else None


def _body(table: Mapping[str, Any]) -> Body | None:
    from geochem.planning.chances import Body

    given = inline_table(table, "body", ("length", "width"), ("azimuth",))
    return Body(**given) if given else None


def _halo(table: Mapping[str, Any]) -> Halo | None:
    from geochem.planning.chances import Halo

    known = ("scatter", "error_pct", "k", "decay", "least")
    given = inline_table(table, "halo", ("contrast",), known)
    for key, value in given.items():
        if key != "decay" and (isinstance(value, bool) or not isinstance(value, int | float)):
            raise WrongCall(f"[planning] halo: {key} must be a number, got {value!r}.")
    if not isinstance(given.get("decay", ""), str):
        raise WrongCall("[planning] halo: decay must be 'exponential', 'linear' or 'none'.")
    if given.get("least", 1) not in (1, 2, 3, 4, 5):
        raise WrongCall("[planning] halo: least must be a whole number from 1 to 5.")
    return Halo(**given) if given else None


def layout_of(settings: Settings, state: State) -> LaidOut:
    """Lay out new points, with what they find and cost."""
    table = settings.table("planning")
    kind = table["layout"]
    if not 1 <= table["points_per_day"] <= 300:
        raise WrongCall(
            f"[planning] points_per_day must lie between 1 and 300, got {table['points_per_day']}."
        )
    if kind is None:
        return LaidOut()
    from geochem.planning.chances import layout_chance, spacing_for, trade_off
    from geochem.planning.ground import sampling_ground
    from geochem.planning.layouts import lay_out
    from geochem.planning.north import grid_azimuth

    layers = state["layers"]
    boundary = layers.get("boundary")
    if boundary is None:
        raise WrongCall(
            "a layout needs the ground it stands on: name a boundary in [layers], for example "
            'boundary = "licence.geojson".'
        )
    ground = sampling_ground(boundary, layers.get("keep_out"))
    norths = {"north": table["north"], "declination": table["declination"]}
    body, halo = _body(table), _halo(table)
    line, station = table["line_spacing"], table["station_spacing"]
    findings: list[Finding] = []
    if body is not None and body.azimuth is not None:
        body = type(body)(body.length, body.width, grid_azimuth(
            body.azimuth, table["north"], crs=ground.crs, easting=ground.middle[0],
            northing=ground.middle[1], declination=table["declination"],
        ))  # fmt: skip
    if line is None and station is None and table["probability"] is not None:
        if body is None:
            raise WrongCall(
                "[planning] probability needs a body = { length = , width = } that must not be "
                "missed."
            )
        turned = grid_azimuth(
            table["azimuth"] or 0.0, table["north"] or ("grid" if table["azimuth"] is None else
            None), crs=ground.crs, easting=ground.middle[0], northing=ground.middle[1],
            declination=table["declination"],
        )  # fmt: skip
        line, station = spacing_for(
            body, table["probability"], kind=kind, ratio=table["ratio"], grid_azimuth=turned
        )
    elif table["probability"] is not None:
        findings.append(
            Finding(
                "plan-probability-unused", "note",
                "probability is given beside a spacing: the spacing decides, the probability is "
                "only reported.",
            )
        )  # fmt: skip
    layout = lay_out(
        ground, kind, line_spacing=line, station_spacing=station, azimuth=table["azimuth"],
        origin=place_of(table, "origin"), follow=layers.get(table["follow"] or kind),
        prefix=table["prefix"], seed=settings.seed, declination=norths["declination"],
        north=norths["north"] if table["azimuth"] is not None else None,
    )  # fmt: skip
    findings += layout.findings
    facts = _layout_facts(layout, table)
    words, trade = "", None
    if body is not None:
        chance = layout_chance(layout, ground, body, halo, seed=settings.seed)
        words = _body_words(body, halo)
        if chance.how != "simulated":
            facts.append(("Chance of a point inside", f"{100 * chance.hit:.1f} % ({chance.how})"))
        facts.append((
            "On this ground" if chance.how != "simulated" else "Chance of a point inside",
            f"{100 * chance.hit_on_ground:.1f} % (simulated, "
            f"+/- {100 * chance.hit_on_ground_se:.1f}; edges and keep-out counted)",
        ))  # fmt: skip
        if halo is not None:
            seen = f"{100 * chance.seen:.1f} %" if math.isfinite(chance.seen) else "only for grids"
            facts.append(("Chance that it is seen", seen))
        if math.isfinite(layout.line_spacing):
            if chance.how == "simulated":
                words += "; curve and table: a rectangular grid of these spacings"
            # the ground that these points stand for: edges are then counted as in the plan itself
            worth = len(layout.points) * layout.line_spacing * layout.station_spacing / 1e6
            trade = trade_off(
                worth, body, kind=kind, line_spacing=layout.line_spacing,
                station_spacing=layout.station_spacing, grid_azimuth=layout.grid_azimuth,
                halo=halo, cost=table["cost"], per_day=table["points_per_day"],
            )  # fmt: skip
    return LaidOut(layout.points, facts, trade, words, ground.middle, findings)


def _layout_facts(layout: Any, table: Mapping[str, Any]) -> Facts:
    from geochem.planning.layouts import KINDS

    n = len(layout.points)
    facts = [("Kind", KINDS[layout.kind])]
    if layout.kind == "square":
        facts.append(("Spacing", f"{layout.line_spacing:g} m"))
    elif layout.kind == "stratified":
        cell = (
            f"one point in every cell of {layout.line_spacing:g} by {layout.station_spacing:g} m"
        )
        facts.append(("Spacing", cell))
    elif math.isfinite(layout.line_spacing):
        words = f"{layout.line_spacing:g} m between lines, {layout.station_spacing:g} m along them"
        facts.append(("Spacing", words))
    else:
        facts.append(("Spacing", f"{layout.station_spacing:g} m along the lines"))
    if math.isfinite(layout.azimuth):
        turned = "" if layout.north == "grid" else f" ({layout.grid_azimuth:.1f}° from grid north)"
        facts.append(
            ("Azimuth of the lines", f"{layout.azimuth:g}° from {layout.north} north{turned}")
        )
    facts.append(("Points", f"{n} on {layout.lines} lines"))
    facts.append(
        ("Ground", f"{layout.area_km2:.3g} km² ({n / layout.area_km2:.3g} points per km²)")
    )
    facts.append(("To walk", f"{layout.walking_km:.1f} km, straight from point to point"))
    per_day = table["points_per_day"]
    days = math.ceil(n / per_day)
    facts.append(("Days", f"{days} of {per_day} points, one crew"))
    cost = table["cost"]
    if cost:
        total = n * (cost.get("sample", 0) + cost.get("assay", 0)) + days * cost.get("day", 0)
        facts.append(("Cost", f"{total:,.0f}".replace(",", " ") + " (currency of the campaign)"))
    return facts


def _body_words(body: Body, halo: Halo | None) -> str:
    way = (
        "direction unknown"
        if body.azimuth is None
        else f"long axis {body.azimuth:.0f}° from grid north"
    )
    words = f"Body {body.length:g} by {body.width:g} m, {way}"
    if halo is None:
        return words
    return (
        f"{words}; contrast {halo.contrast:g}, {halo.decay} decay, scatter {halo.scatter:g} log10, "
        f"error {halo.error_pct:g} %, k = {halo.k:g}"
    )


def mass_of(settings: Settings) -> tuple[str, ...]:
    """Work out the least sample mass."""
    from geochem.stats.sampling_error import Material, least_mass

    needed = ("mineral_share", "mineral_density", "grain_um", "top_size_mm", "error_pct")
    other = ("gangue_density", "shape", "size_range", "safety")
    given = inline_table(settings.table("planning"), "mass", needed, other)
    if not given:
        return ()
    material = Material(
        given["mineral_share"], given["mineral_density"], given.get("gangue_density", 2.65),
        given["grain_um"] / 1e4, given.get("shape", 0.5), given.get("size_range", 0.25),
    )  # fmt: skip
    found = least_mass(
        material, given["top_size_mm"] / 10, given["error_pct"] / 100,
        safety=given.get("safety", 1.0),
    )  # fmt: skip
    grams = found.mass_g
    said = f"{grams / 1000:.3g} kg" if grams >= 1000 else f"{grams:.3g} g"
    last = f"at least {said} for a relative standard deviation of {given['error_pct']:g} %"
    return (*found.working, f"{last} of this one stage ({found.reference})")
