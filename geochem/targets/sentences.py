"""Evidence for and against a target in sentences, its next step, and how far it is to be trusted.

What lives here: words only, from numbers that others computed. Words that reporting codes reserve
are never used, and nothing is claimed that a surface sample cannot show.
"""

from __future__ import annotations

from collections.abc import Sequence

from geochem.model.finding import name_some
from geochem.targets.false_discovery import association_chance
from geochem.targets.surroundings import FAR_DRILLED, FAR_WORKINGS, Surroundings
from geochem.targets.zoning import Zoning

#: so many elements must be judged before their order is spoken of; share in order that speaks for
#: a target, and against it
_JUDGED, _ORDERED, _DISORDERED = 3, 0.75, 0.34
#: slope that is spoken of [degrees]
_SLOPING = 15.0


def sides_text(sides: Sequence[str]) -> str:
    """Write open sides as ``"N, SE"``."""
    return ", ".join(sides)


def evidence_for(
    *,
    title: str,
    strength: float,
    q: float,
    elements: Sequence[str],
    hidden: Sequence[str],
    leading: str,
    contrast: float,
    samples: int,
    lines: int,
    anomalous_share: float,
    others: Sequence[str],
    sent: int,
    confirmed: int,
    around: Surroundings,
    catchment: str,
    beside: Sequence[str],
    zoning: Zoning | None = None,
) -> str:
    """Say what speaks for a target."""
    where = (
        f"in {catchment}, {samples} samples"
        if catchment
        else f"{samples} samples on {lines} lines"
    )
    text = [
        f"{title}: {where}, {100 * anomalous_share:.0f} % of them with an association score of "
        f"at least one.",
        f"The filtered score reaches {strength:.1f} standard deviations of barren ground; "
        f"of outlines as strong {_percent(q)} are expected by chance.",
    ]
    if elements:
        text.append(f"Beyond k = 2: {', '.join(elements)}.")
    if hidden:
        text.append(
            f"High against the whole survey, though not against its own rock unit: "
            f"{', '.join(hidden)}."
        )
    if leading and contrast == contrast:
        text.append(f"Median {leading} inside is {contrast:.1f} times its background.")
    if zoning is not None and zoning.judged >= _JUDGED and zoning.share >= _ORDERED:
        text.append(f"Its elements lie in the order of a halo ({zoning}).")
    if others:
        text.append(f"Also stands out for: {name_some(list(others), 3)}.")
    if confirmed:
        text.append(f"{confirmed} of {sent} laboratory values inside lie beyond background.")
    if around.chips_high:
        text.append(
            f"{around.chips_high} of {around.chips} rock chips support it, best "
            f"{around.chip_text}."
        )
    for medium in beside:
        text.append(f"A {medium} outline overlaps it.")
    if around.residual is not None and around.residual >= 0.8:
        text.append("The soil is residual.")
    return " ".join(text)


def _percent(q: float) -> str:
    return "less than 1 %" if q < 0.01 else f"about {100 * q:.0f} %"


def evidence_against(
    *,
    samples: int,
    open_sides: Sequence[str],
    sent: int,
    confirmed: int,
    around: Surroundings,
    n_elements: int,
    probability: float,
    clipped: bool,
    catchment: str,
    spread_share: float,
    margin: float = float("nan"),
    rival: str = "",
    zoning: Zoning | None = None,
) -> str:
    """Say what speaks against a target, or is not known."""
    text = []
    if around.holes_inside:
        text.append(f"Tested: {around.holes_inside} drilled holes touch the outline.")
    elif around.drilled is not None and around.drilled < FAR_DRILLED:
        text.append(f"A drilled hole stands {around.drilled:.0f} m away; look at its results.")
    if sent and not confirmed:
        text.append(f"None of {sent} laboratory values inside lies beyond background.")
    elif not sent:
        text.append("No laboratory value inside yet.")
    if n_elements < 2:
        text.append("Only one element lies beyond k = 2.")
    if samples < 6:
        text.append(f"Rests on {samples} samples.")
    if spread_share < 0.4:
        text.append("Less than four in ten samples inside are raised themselves.")
    if zoning is not None and zoning.judged >= _JUDGED and zoning.share <= _DISORDERED:
        text.append(f"Its elements do not lie in the order of a halo ({zoning}).")
    if around.slope is not None and around.slope >= _SLOPING:
        text.append(
            f"The ground slopes {around.slope:.0f} degrees toward {around.downhill:.0f}: soil "
            "creeps, so the source may lie upslope."
        )
    if around.transported is not None and around.transported >= 0.2:
        text.append(
            f"{100 * around.transported:.0f} % of the samples lie on transported cover, so the "
            "source may lie elsewhere."
        )
    if around.transported is None and not catchment:
        text.append("Regolith is not known.")
    if around.workings is not None and around.workings < FAR_WORKINGS:
        text.append(
            "Old workings inside: contamination is possible."
            if around.workings == 0
            else f"Old workings {around.workings:.0f} m away: contamination is possible."
        )
    if around.quality is None:
        text.append("Quality of its batches was not checked.")
    elif around.quality < 0.75:
        text.append("Batches of its elements have warnings or failures.")
    if around.chips and not around.chips_high:
        text.append(f"None of {around.chips} rock chips inside is raised.")
    if rival and margin > -2.0:
        text.append(f"{rival[:1].upper()}{rival[1:]} would explain it about as well.")
    if open_sides:
        text.append(f"Not closed off: {sides_text(open_sides)}.")
    if clipped:
        text.append("Cut off at the boundary.")
    if around.keep_out > 0:
        text.append(f"{100 * around.keep_out:.0f} % lies inside keep-out.")
    # the chance that a rival explains it is told above; what is left is barren ground
    if probability < 0.5 * float(association_chance(margin)):
        text.append("Barren ground makes one as strong more often than not.")
    text.append("Surface samples say little of depth.")
    return " ".join(text)


def next_step(
    *,
    status: str,
    sent: int,
    confirmed: int,
    open_sides: Sequence[str],
    around: Surroundings,
    lines: int,
    samples: int,
    catchment: str,
) -> str:
    """Choose the next step: the first question that is still open."""
    if status in ("dropped", "merged"):
        return f"none: {status} in the register"
    if status == "drilled" or around.holes_inside:
        return "compare with the drilled holes before anything else"
    if around.workings is not None and around.workings < FAR_WORKINGS:
        return "check for contamination from old workings: sample deeper and upslope"
    if catchment:
        return "sample upstream and walk the streams of the catchment"
    if not sent:
        return "send samples of the outline to the laboratory, and map it"
    if not confirmed:
        return "check sampling and laboratory method, then sample again"
    if open_sides:
        return f"extend sampling to the {sides_text(open_sides)}, and infill"
    if lines < 3 or samples < 12:
        return "infill between the lines"
    if around.transported is not None and around.transported >= 0.2:
        return "map regolith; test below cover (pits or shallow drilling) before more soil"
    if status == "trenched":
        return "geophysics, then holes through the gate"
    return "map, then trench or geophysics across the peak"


def data_confidence(
    *,
    samples: int,
    lines: int,
    quality: float | None,
    rank_width: int,
    n_targets: int,
) -> str:
    """Give high, moderate or low by rule.

    High: at least eight samples on three lines, mean verdict at least 0.75, and a rank interval
    no wider than three ranks or 30 % of the list. Low: fewer than five samples, or mean verdict
    below 0.4, or an interval over more than 60 % of a list of at least five. Else moderate.

    Examples
    --------
    >>> data_confidence(samples=15, lines=4, quality=1.0, rank_width=1, n_targets=8)
    'high'
    >>> data_confidence(samples=4, lines=2, quality=1.0, rank_width=1, n_targets=8)
    'low'
    """
    narrow = rank_width <= max(3, round(0.3 * n_targets))
    if samples >= 8 and lines >= 3 and quality is not None and quality >= 0.75 and narrow:
        return "high"
    wide = n_targets >= 5 and rank_width > 0.6 * n_targets
    if samples < 5 or (quality is not None and quality < 0.4) or wide:
        return "low"
    return "moderate"
