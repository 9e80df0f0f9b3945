"""Words of each figure, and which records it shows, taken from the bundle."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from geochem.model.tables import values_of
from geochem.outputs.figures.domains import domain_pairs
from geochem.outputs.figures.layout import Caption
from geochem.outputs.figures.style import literal
from geochem.outputs.figures.text_fit import share_text
from geochem.outputs.figures.threshold_words import method_words
from geochem.outputs.leading import leading_elements
from geochem.outputs.wording import concentration, count

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt
    import pandas as pd

    from geochem.model.background import Gold
    from geochem.model.bundle import Bundle
    from geochem.model.evidence import Association, Composition
    from geochem.model.quality import Calibration
    from geochem.model.surface import Surface
    from geochem.model.threshold import Comparison

#: bias of a standard on portable XRF that fails, unless the campaign file says otherwise. [%]
_XRF_BIAS_PCT = 20.0


def listed(names: list[str]) -> str:
    """Join words as a sentence does.

    Examples
    --------
    >>> listed(["soil", "rock", "till"])
    'soil, rock and till'
    """
    if len(names) < 2:
        return names[0] if names else "-"
    return f"{', '.join(names[:-1])} and {names[-1]}"


def main_medium(bundle: Bundle) -> str:
    """Give the medium with most located samples that has a background, else with most samples."""
    medium = bundle.survey.samples["medium"].fillna("")
    if not len(medium):
        return ""
    with_background = set(bundle.backgrounds["medium"].dropna())
    counts = medium.value_counts()
    order = sorted(counts.index, key=lambda m: (m not in with_background, -counts[m], m))
    return str(order[0])


def gold_shown(bundle: Bundle) -> list[Gold]:
    """Choose which metal and medium get a figure: of each metal the medium with most detected."""
    best: dict[str, Gold] = {}
    for gold in bundle.gold:
        least = best[gold.element].n_detected if gold.element in best else 4
        if gold.n_detected > least:
            best[gold.element] = gold
    return list(best.values())[:1]


def threshold_per_sample(bundle: Bundle, element: str) -> tuple[npt.NDArray[np.float64], str]:
    """Look up the threshold of each sample's own domain.

    Parameters
    ----------
    bundle : Bundle
        All records.
    element : str
        Symbol.

    Returns
    -------
    limits : ndarray, shape (n_samples,)
        NaN where the sample's medium has no background. [mg/kg]
    words : str
        Method and values, for the legend.
    """
    import pandas as pd

    samples = bundle.survey.samples
    anomalies = bundle.evidence.anomalies
    limits = np.full(len(samples), np.nan)
    table = bundle.thresholds
    falling = table.loc[(table["element"] == element) & (table["sign"] == -1)]
    if not len(anomalies) or len(falling):
        return limits, ""  # a ring "beyond" would mean "below" here
    records = bundle.threshold_records
    pair_of, pairs = domain_pairs(anomalies)
    of_pair: dict[tuple[str, str], float] = {}
    methods: dict[str, int] = {}
    for medium, domain in pairs:
        for where in (domain, "all"):
            record = records.get((medium, where, element))
            if record is not None and np.isfinite(record.value):
                of_pair[medium, domain] = record.value
                name = method_words(record)
                methods[name] = methods.get(name, 0) + record.n_used
                break
    given = np.array([*(of_pair.get(pair, np.nan) for pair in pairs), np.nan])[pair_of]
    at = pd.Index(anomalies["sample_id"]).get_indexer(pd.Index(samples["sample_id"]))
    limits[at >= 0] = given[at[at >= 0]]
    drift = bundle.shifts.get(element)
    if drift:
        limits *= 10.0 ** np.array([drift.get(str(s), 0.0) for s in samples["sample_id"]])
    if not of_pair:
        return limits, ""
    names = sorted(methods, key=lambda m: (-methods[m], m))
    method = " or, where that does not hold, ".join(names[:2])
    values = sorted(of_pair.values())
    low, high = concentration(element, values[0]), concentration(element, values[-1])
    if len(values) == 1 or low == high:
        where = f"{low} for all"
    else:
        where = f"{low} to {high}, each sample by its own domain"
    return limits, f"{method[:1].upper()}{method[1:]}: {where}."


def assay_words(bundle: Bundle, element: str, medium: str | None = None) -> str:
    """Say which assay the accepted values of an element come from, per medium where they differ.

    Examples
    --------
    ``"portable XRF (xrf, calibrated to the laboratory)"``.
    """
    analytes = bundle.survey.analytes
    mine = analytes.loc[(analytes["element"] == element) & analytes["accepted"].astype(bool)]
    if medium is not None:
        mine = mine.loc[mine["medium"].isna() | (mine["medium"] == medium)]
    of_words: dict[str, list[str]] = {}
    for row in mine.sort_values("n", ascending=False, kind="stable").itertuples():
        laboratory = row.source == "laboratory"
        words = [str(row.assay)]
        if laboratory and isinstance(row.digestion, str) and row.digestion != "unknown":
            words.append(f"{row.digestion} digestion")
        if row.calibrated:
            words.append("calibrated to the laboratory")
        kind = "laboratory" if laboratory else "portable XRF"
        of_words.setdefault(f"{kind} ({', '.join(words)})", []).append(str(row.medium))
    if len(of_words) < 2:
        return next(iter(of_words), "")
    return "; ".join(f"{listed(media)}: {words}" for words, media in of_words.items())


def _source(bundle: Bundle, element: str | None = None, *, layers: bool = False) -> str:
    """Name the assays and layers that a figure rests on."""
    analytes = bundle.survey.analytes
    rows = analytes.loc[analytes["accepted"].astype(bool)]
    if element is not None:
        rows = rows.loc[rows["element"] == element]
    assays = sorted(set(rows["assay"].dropna()))
    parts = []
    if assays:
        parts.append(f"accepted values of {listed(assays)}")
    if layers and bundle.layers.vector:
        names = [literal(n.replace("_", " "), 24) for n in sorted(bundle.layers.vector)]
        more = f" and {len(names) - 6} more" if len(names) > 6 else ""
        parts.append(f"layers {', '.join(names[:6])}{more}")
    return f"Source: {'; '.join(parts)}." if parts else ""


def _by_medium(bundle: Bundle, keep: npt.NDArray[np.bool_] | None = None) -> str:
    medium = bundle.survey.samples["medium"].fillna("not stated")
    counts = (medium if keep is None else medium[keep]).value_counts()
    order = sorted(counts.index, key=lambda m: (-counts[m], m))
    return ", ".join(f"{counts[m]} {m}" for m in order) or "no samples"


def _below(part: int, whole: int) -> str:
    return f"{share_text(part, whole)} below detection" if part else "none below detection"


def samples(bundle: Bundle) -> Caption:
    """Words of the map of samples."""
    n = len(bundle.survey.samples)
    lost = len(bundle.survey.unlocated)
    note = f"n = {n} located samples: {_by_medium(bundle)}."
    if lost:
        note += f" {count(lost, 'sample')} without a usable position cannot be drawn."
    planned = bundle.progress.get("planned")
    if planned:
        note += f" Planned: {planned}."
    return Caption("Where samples were taken", note, _source(bundle, layers=True))


def overview(bundle: Bundle) -> Caption:
    """Words of the page of small maps."""
    note = f"n = {len(bundle.survey.samples)} located samples: {_by_medium(bundle)}."
    return Caption("Sampling, progress, quality and groups", note, _source(bundle, layers=True))


def threshold_classes(bundle: Bundle, elements: Sequence[str]) -> Caption:
    """Words of the page of threshold classes."""
    _, words = threshold_per_sample(bundle, elements[0])
    note = (
        f"n = {len(bundle.survey.samples)} located samples. Possible: beyond the threshold of the "
        f"sample's own background; probable: beyond location + 3 scales too. {elements[0]}: {words}"
    )
    return Caption(f"Threshold classes of {listed(list(elements))}", note, _source(bundle))


def indices(bundle: Bundle) -> Caption:
    """Words of the page of indices, ratios, balances and enrichment factors."""
    note = (
        f"n = {len(bundle.survey.samples)} located samples. Beyond: more than median + 2 MAD of the "
        "sample's own medium. What stands behind a limit of detection makes no index."
    )
    return Caption("Indices and ratios", note, _source(bundle))


def element(bundle: Bundle, symbol: str) -> Caption:
    """Words of a map of one element."""
    values = values_of(bundle.survey.samples, symbol)
    known = np.isfinite(values.value)
    n = int(known.sum())
    media = bundle.survey.samples["medium"].fillna("not stated")[known]
    counts = media.value_counts()
    names = sorted(counts.index, key=lambda m: (-counts[m], m))
    below = int((values.below & known).sum())
    note = f"n = {n} ({_by_medium(bundle, known)}), {_below(below, n)}."
    assay = assay_words(bundle, symbol)
    if assay:
        note += f" {assay[0].upper()}{assay[1:]}."
    return Caption(f"{symbol} in {listed(names)}", note, _source(bundle, symbol, layers=True))


def targets(bundle: Bundle) -> Caption:
    """Words of the map of targets."""
    report = bundle.targets
    n = len(report.targets)
    if not n:
        return Caption("No target", report.why_none, _source(bundle, layers=True))
    parts = [
        f"{count(n, 'target')}, {count(len(report.leads), 'lead')}, "
        f"{count(len(report.follow_up), 'follow-up sample')} and "
        f"{count(len(report.holes), 'hole')} proposed; n = {len(bundle.survey.samples)} samples."
    ]
    confirmed = int(report.targets["lab_confirmed"].astype(bool).sum())
    parts.append(f"Laboratory values inside {confirmed} of {n}.")
    return Caption("Targets, ranked for follow-up", " ".join(parts), _source(bundle, layers=True))


def association(bundle: Bundle, chosen: Association) -> Caption:
    """Words of a map of scores."""
    score = bundle.evidence.scores[chosen.name].to_numpy(dtype=float)
    note = (
        f"n = {int(np.isfinite(score).sum())} scored samples. The score is calibrated: in background "
        "about one sample in 40 exceeds 2, one in 700 exceeds 3."
    )
    source = f"Weights: {literal(chosen.source, 120)}." if chosen.source else ""
    order = sorted(chosen.used, key=lambda e: (-abs(chosen.weights.get(e, 0.0)), e))
    used = listed(order) if order else "no element"
    return Caption(f"{chosen.title}: score from {used}", note, source)


def places(bundle: Bundle) -> Caption:
    """Words of the map of probabilities."""
    found = bundle.targets.places
    assert found is not None
    note = (
        f"n = {len(found)} judged samples. What coatings, other rock, streams or slopes explain better "
        "counts against a place. Not the probability of ore."
    )
    return Caption(
        "Probability that an association exceeds its local background", note, _source(bundle)
    )


def surface(bundle: Bundle, made: Surface) -> Caption:
    """Words of a map of a surface."""
    title = made.title if made.medium in made.title else f"{made.title} in {made.medium}"
    note = (
        f"n = {made.n_used} samples. Between samples the surface is an estimate; where it is blank, "
        "samples are too far away."
    )
    return Caption(f"{title}: surface", note, f"{_source(bundle)} Method: {made.reference}.")


def surface_uncertainty(bundle: Bundle, made: Surface, what: str) -> Caption:
    """Words of a map of an interval or of a chance."""
    title = made.title if made.medium in made.title else f"{made.title} in {made.medium}"
    words = (
        "how sure the surface is" if what == "interval" else "chance of exceeding the threshold"
    )
    note = (
        f"n = {made.n_used} samples. It is sure near samples and unsure between and beyond them."
    )
    return Caption(f"{title}: {words}", note, f"{_source(bundle)} Method: {made.reference}.")


def surface_check(bundle: Bundle, made: Surface) -> Caption:
    """Words of the page behind a surface."""
    title = made.title if made.medium in made.title else f"{made.title} in {made.medium}"
    note = (
        f"n = {made.n_used} samples. Scale: {made.details.get('scale', 'as measured')}. Line: fitted "
        "model; dots: pairs of samples, the larger the more pairs."
    )
    return Caption(f"{title}: how good the surface is", note, _source(bundle))


def catchments(bundle: Bundle, symbol: str) -> Caption:
    """Words of a map of catchments."""
    assert bundle.catchments is not None
    n = len(bundle.catchments.frame)
    made = "the user's polygons" if bundle.catchments.origin == "layer" else "the elevation grid"
    note = (
        f"n = {n} catchments from {made}. A sediment speaks for the ground upstream of it; the points "
        "are never interpolated. A small catchment dilutes less than a large one."
    )
    return Caption(f"{symbol} in stream sediments: catchments", note, _source(bundle, symbol))


def probability(bundle: Bundle, symbol: str, medium: str) -> Caption:
    """Words of a probability plot."""
    note = "A straight run of points is one lognormal population; a bend parts two."
    assay = assay_words(bundle, symbol, medium)
    if assay:
        note += f" {assay[0].upper()}{assay[1:]}."
    return Caption(f"{symbol} in {medium}: probability plot", note, _source(bundle, symbol))


def comparison(bundle: Bundle, made: Comparison) -> Caption:
    """Words of the page with all threshold methods."""
    note = (
        f"n = {len(made.values)}. Bars: 90 % intervals. Filled: the assumptions of the method hold; "
        "hollow: another rule stood in for it, or shown only to be compared."
    )
    return Caption(f"{made.element} in {made.medium}: the threshold by every method", note,
                   _source(bundle, made.element))  # fmt: skip


def distribution(bundle: Bundle, made: Comparison) -> Caption:
    """Words of the page with histogram, density, box and single values."""
    note = f"n = {len(made.values)}. One axis of concentration, log scale, in real units."
    return Caption(f"{made.element} in {made.medium}: how the values spread", note,
                   _source(bundle, made.element))  # fmt: skip


def boxplots(bundle: Bundle, mine: pd.DataFrame, medium: str, shown: list[str]) -> Caption:
    """Words of the box plots."""
    from geochem.outputs.figures.boxplots import grouping

    _, words = grouping(mine)
    note = (
        f"n = {len(mine)}. Box: quartiles; bar: median; whiskers: 5th to 95th percentile; dots: beyond. "
        "Dotted: below detection, known only to be lower. Dashed: threshold of the whole medium."
    )
    return Caption(f"{listed(shown)} in {medium} by {words}", note, _source(bundle))


def biplot(bundle: Bundle, made: Composition) -> Caption:
    """Words of a biplot."""
    method = literal(made.details.get("method", "robust principal components"), 80)
    reference = literal(made.details.get("reference", ""), 90)
    note = (
        f"n = {len(made.scores)} samples, {len(made.parts)} elements as centred log-ratios; "
        f"{method.replace('_', ' ')}."
    )
    source = f"Method: {reference}." if reference else ""
    return Caption(f"Which elements go together: log-ratio biplot, {made.medium}", note,
                   f"{_source(bundle)} {source}".strip())  # fmt: skip


def standard_series(bundle: Bundle) -> list[tuple[str, str]]:
    """Choose which (assay, element) pairs the chart of standards shows: key elements first."""
    from geochem.outputs.figures.standards import standards_series

    verdicts = bundle.quality.verdicts
    keys = set(verdicts.loc[verdicts["key_element"].astype(bool), "element"].dropna())
    order = {e: i for i, e in enumerate(leading_elements(bundle))}
    series = standards_series(bundle.quality.standards)
    nth: dict[str, int] = {}
    ranked = []
    for place, (assay, symbol) in enumerate(series):  # further assays of an element come later
        nth[symbol] = nth.get(symbol, -1) + 1
        ranked.append(
            ((symbol not in keys, nth[symbol], order.get(symbol, 99), place), (assay, symbol))
        )
    return [pair for _, pair in sorted(ranked)]


def bias_limits(bundle: Bundle) -> dict[str, float]:
    """Give the bias in per cent at which a standard fails, per portable-XRF assay."""
    quality: Any = bundle.settings.get("quality") or {}
    options = quality.get("options") or {} if isinstance(quality, dict) else {}
    limit = float(options.get("xrf_bias_pct", _XRF_BIAS_PCT))
    checks = bundle.quality.standards
    xrf = checks.loc[checks["source"] == "pxrf", "assay"].dropna()
    return dict.fromkeys(sorted(set(xrf)), limit)


def standards(bundle: Bundle) -> Caption:
    """Words of the chart of standards."""
    checks = bundle.quality.standards
    used = checks.loc[checks["used"].astype(bool) & checks["bias_pct"].notna()]
    failed = int((used["verdict"] == "fail").sum())
    note = (
        f"n = {len(used)} results of {count(used['standard'].nunique(), 'standard')} in all, "
        f"{failed} of them fail. Bias: how far a result lies above or below the certified value."
    )
    return Caption("Standards in the order of reading", note, _source(bundle))


def calibrations_shown(bundle: Bundle) -> list[Calibration]:
    """Choose the calibrations to draw: those with pairs, counted elements first."""
    pairs = bundle.quality.calibration_pairs
    have = set(pairs["element"]) if len(pairs) else set()
    order = {e: i for i, e in enumerate(leading_elements(bundle))}
    tried = [c for c in bundle.quality.calibrations if c.element in have]
    return sorted(tried, key=lambda c: (order.get(c.element, 99), -c.n, c.element, c.group))


def calibrations(bundle: Bundle) -> Caption:
    """Words of the calibration charts."""
    tried = bundle.quality.calibrations
    passed = sum(c.verdict == "pass" for c in tried)
    shown = calibrations_shown(bundle)
    more = " Six are drawn." if len(shown) > 6 else ""
    note = (
        f"{passed} of {len(tried)} calibrations pass.{more} Line: fitted with errors on both sides, "
        "in its valid range (shaded); dashed: one to one. Below each chart what the line leaves over."
    )
    return Caption("Portable XRF against laboratory", note, _source(bundle))
