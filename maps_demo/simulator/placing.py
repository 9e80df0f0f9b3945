"""Where things lie when the settings leave it to chance."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .fields import stream
from .settings import Settings

#: centres of bodies keep this distance from each other, and half of it from the rim [m]
APART = 1500.0


def scattered(settings: Settings) -> Settings:
    """Move bodies, false bodies, patches and tailings to places that only the seed decides.

    Parameters
    ----------
    settings : Settings
        With ``scatter`` set; others come back as they are.

    Returns
    -------
    Settings
        The same things elsewhere, each turned by chance too; the first cover lies over the
        last body.

    Raises
    ------
    ValueError
        If the area is too small for so many bodies.
    """
    if not settings.scatter:
        return settings
    rng = stream(settings.seed, "places of bodies")
    half = np.array([settings.length, settings.width]) / 2 - APART / 2
    if np.any(half <= 0):
        raise ValueError("the area is too small to scatter bodies in it; make it 2 km or wider.")
    taken: list[np.ndarray] = []

    def spot() -> tuple[float, float]:
        for _ in range(2000):
            place = rng.uniform(-half, half)
            if all(np.hypot(*(place - other)) >= APART for other in taken):
                taken.append(place)
                return float(place[0]), float(place[1])
        raise ValueError("too many bodies for the area; leave out some or make it larger.")

    def anywhere() -> tuple[float, float]:
        place = rng.uniform(-half, half)
        return float(place[0]), float(place[1])

    moved = {}
    for name in ("bodies", "false_bodies"):
        bodies = []
        for body in getattr(settings, name):
            along, across = spot()
            turn = body.turn + float(rng.normal(0, 25))
            bodies.append(replace(body, along=along, across=across, turn=turn))
        moved[name] = tuple(bodies)
    for name in ("intrusions", "covers", "tailings"):
        patches = []
        for patch in getattr(settings, name):
            along, across = anywhere()
            if name == "covers" and not patches and moved["bodies"]:
                # the first cover hides part of one body
                hidden = moved["bodies"][-1]
                along = hidden.along + float(rng.uniform(-0.5, 0.5)) * patch.half_length
                across = hidden.across + float(rng.uniform(-0.5, 0.5)) * patch.half_width
            patches.append(replace(patch, along=along, across=across))
        moved[name] = tuple(patches)
    return replace(settings, scatter=False, **moved)
