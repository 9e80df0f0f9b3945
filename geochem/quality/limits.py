"""Every number that quality control decides by, with where it comes from; all can be changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from typing import Any

from geochem.elements import SYMBOLS
from geochem.errors import WrongCall, unknown

#: options that are one of a few words
CHOICES: dict[str, tuple[str, ...]] = {
    "drift": ("none", "linear", "bracket"),
    "failed_batches": ("use", "down-weight", "leave out"),
    "run_rules": ("westgard", "nelson"),
    "calibration_matrix": ("none", "medium", "lithology", "regolith"),
}

#: how far an element can be believed, best first
TRUST_CLASSES = ("definitive", "quantitative screening", "qualitative", "unusable")

#: Acceptable RMS CV of pairs by role. [%] Guidance after Abzalov 2008, Exploration and Mining
#: Geology 17:131-144 (from memory); field, repeat and reread: common practice, no source.
ACCEPTABLE_CV: dict[str, dict[str, float]] = {
    "field_duplicate": {
        "default": 30.0, "Au": 40.0, "Pt": 40.0, "Pd": 40.0, "W": 40.0, "Sn": 40.0,
    },
    "coarse_duplicate": {"default": 15.0, "Au": 30.0, "Pt": 30.0, "Pd": 30.0},
    "pulp_duplicate": {"default": 10.0, "Au": 20.0, "Pt": 20.0, "Pd": 20.0},
    "repeat": {"default": 10.0},
    "reread": {"default": 15.0},
    "umpire": {"default": 15.0, "Au": 25.0},
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class QualityLimits:
    """Limits of the quality checks; the defaults are those of the campaign.

    Parameters
    ----------
    warn_s, reject_s : float
        A standard's reading warns and is rejected beyond so many standard deviations
        (Westgard et al. 1981). [-]
    xrf_bias_pct : float
        Portable XRF may differ so much from the certified value (calibration check of EPA Method
        6200, from memory). [%]
    laboratory_bias_pct : float
        Where a certificate gives no usable SD: warn beyond this, fail beyond twice (common
        practice, no source). [%]
    judged_from_limits : float
        Standards are judged from so many detection limits on (common practice, no source). [-]
    certificate_from_limits : float
        A laboratory is judged in SD of the certificate from so many detection limits on: below,
        its own noise is as large as that SD (common practice, no source). [-]
    departure_warn_pct, departure_fail_pct : float
        A batch of readings that departs from the instrument's own usual value must do so by this
        much to matter (common practice, no source). [%]
    spread_floor_pct : float
        A standard's own spread is never taken as less (common practice, no source). [%]
    family_alarm : float
        Chance that a batch without fault fails in any of its key elements. [-]
    precision_pct, precision_cr_pct : float
        Relative SD allowed to quantitative portable XRF, and to its chromium (EPA Method 6200,
        from memory). [%]
    blank_warn_limits, blank_fail_limits : float
        A blank warns and fails beyond so many detection limits (common practice, no source). [-]
    blank_matters_pct : float
        A blank fails its batch only when the excess is this share of the median sample (common
        practice, no source). [%]
    duplicates_from_limits : float
        Pairs under so many detection limits stay out of the CV (common practice, no source). [-]
    acceptable_cv_pct : mapping of role to mapping of element to float
        ``default`` serves elements that are not named. [%]
    key_detected : float
        Elements detected in more than this share of samples are key ones when none are named. [-]
    calibration_pairs, calibration_pairs_provisional : int
        Pairs needed to pass, and to be provisional.
    calibration_bias_pct, calibration_error_pct : float
        Cross-validated bias in the upper part and relative error allowed; twice the bias and
        1.7 times the error are provisional (common practice, no source). [%]
    calibration_log_range : float
        Fit on logarithms when the pairs span more than this ratio (EPA Method 6200: one order of
        magnitude, from memory). [-]
    xrf_error_pct, laboratory_error_pct : float
        Relative error of a value when neither the table nor duplicates state one (common
        practice, no source). [%]
    per_instrument : bool
        Fit one calibration per instrument wherever each has enough pairs; else only where one
        line does not serve all instruments.
    calibration_matrix : {"none", "medium", "lithology", "regolith"}
        Kind of ground that may have calibrations of its own.
    calibration_dates : tuple of str
        First days of new date windows of the calibration (after a repair, say); none given: one
        change is looked for.
    drift : {"none", "linear", "bracket"}
        Correct readings of portable XRF by the standards of their batch.
    failed_batches : {"use", "down-weight", "leave out"}
        What is done with values of failed batches: used and marked; their error widened by the
        departure of the batch; or left out of the accepted values.
    run_rules : {"westgard", "nelson"}
        Which run rules may warn.
    detection_warn_ratio : float
        Warn when blanks or replicates support a detection limit so many times the stated one
        (common practice, no source). [-]
    hit_cut_mad : float
        A value is high from the median plus so many MAD (scaled, log10) on. [-]
    loose_density : float
        Of powder as filled into the die (common practice, no source). [g/cm3]
    thin_signal : float
        A pellet is thin for an element under this share of the full signal. [-]
    turnaround_days : float
        Jobs that are out longer are said (common practice, no source). [d]
    trust : mapping of assay to mapping of element to (class, reason)
        Classes set by hand; assay ``""`` stands for all.
    """

    warn_s: float = 2.0
    reject_s: float = 3.0
    xrf_bias_pct: float = 20.0
    laboratory_bias_pct: float = 10.0
    judged_from_limits: float = 5.0
    certificate_from_limits: float = 10.0
    departure_warn_pct: float = 5.0
    departure_fail_pct: float = 10.0
    spread_floor_pct: float = 2.0
    family_alarm: float = 0.05
    precision_pct: float = 20.0
    precision_cr_pct: float = 30.0
    blank_warn_limits: float = 3.0
    blank_fail_limits: float = 5.0
    blank_matters_pct: float = 20.0
    duplicates_from_limits: float = 10.0
    acceptable_cv_pct: Mapping[str, Mapping[str, float]] = field(
        default_factory=lambda: ACCEPTABLE_CV
    )
    key_detected: float = 0.5
    calibration_pairs: int = 20
    calibration_pairs_provisional: int = 10
    calibration_bias_pct: float = 10.0
    calibration_error_pct: float = 30.0
    calibration_log_range: float = 10.0
    xrf_error_pct: float = 5.0
    laboratory_error_pct: float = 5.0
    per_instrument: bool = False
    calibration_matrix: str = "none"
    calibration_dates: tuple[str, ...] = ()
    drift: str = "none"
    failed_batches: str = "use"
    run_rules: str = "westgard"
    detection_warn_ratio: float = 1.5
    hit_cut_mad: float = 2.0
    loose_density: float = 1.2
    thin_signal: float = 0.95
    turnaround_days: float = 28.0
    trust: Mapping[str, Mapping[str, tuple[str, str]]] = field(default_factory=dict)

    def acceptable_cv(self, role: str, element: str) -> float:
        """Give the acceptable RMS CV of one role and element.

        Parameters
        ----------
        role, element : str
            Kind of duplicate, symbol.

        Returns
        -------
        float
            NaN when there is none. [%]
        """
        table = self.acceptable_cv_pct.get(role, {})
        return float(table.get(element, table.get("default", float("nan"))))


def read_limits(options: Mapping[str, Any] | QualityLimits | None) -> QualityLimits:
    """Make limits from the options of a campaign file.

    Parameters
    ----------
    options : mapping, QualityLimits or None
        Names are the parameters of `QualityLimits`. ``acceptable_cv_pct`` may give a number per
        role, or a table per role with ``default`` and elements; what it does not name stays.

    Returns
    -------
    QualityLimits
        Checked.

    Raises
    ------
    WrongCall
        If a name is not known or a value is not a number above zero.

    Examples
    --------
    >>> read_limits({"xrf_bias_pct": 15}).xrf_bias_pct
    15.0
    """
    if options is None:
        return QualityLimits()
    if isinstance(options, QualityLimits):
        return options
    names = [f.name for f in fields(QualityLimits)]
    given: dict[str, Any] = {}
    for name, value in options.items():
        if name not in names:
            raise unknown("option of [quality]", name, names)
        if name == "acceptable_cv_pct":
            given[name] = _cv_table(value)
        elif name == "trust":
            given[name] = _trust_table(value)
        elif name in CHOICES:
            word = str(value).replace("_", " ").replace("down weight", "down-weight")
            if word not in CHOICES[name]:
                raise unknown(f"value of [quality] option '{name}'", str(value), CHOICES[name])
            given[name] = word
        elif name == "calibration_dates":
            given[name] = _days(value)
        elif name == "per_instrument":
            if not isinstance(value, bool):
                raise WrongCall(
                    f"[quality] option 'per_instrument' is true or false, got {value!r}."
                )
            given[name] = value
        else:
            number = _positive(name, value)
            given[name] = int(number) if name.startswith("calibration_pairs") else number
    limits = QualityLimits(**given)
    for low, high in (
        ("warn_s", "reject_s"),
        ("departure_warn_pct", "departure_fail_pct"),
        ("blank_warn_limits", "blank_fail_limits"),
        ("calibration_pairs_provisional", "calibration_pairs"),
    ):
        if getattr(limits, low) > getattr(limits, high):
            raise WrongCall(
                f"[quality] option '{low}' ({getattr(limits, low):g}) must not be above "
                f"'{high}' ({getattr(limits, high):g})."
            )
    return limits


def _days(value: Any) -> tuple[str, ...]:
    from datetime import date

    try:
        return tuple(sorted(date.fromisoformat(str(v)).isoformat() for v in list(value)))
    except (TypeError, ValueError):
        raise WrongCall(
            f"[quality] option 'calibration_dates' is a list of days as YYYY-MM-DD, got {value!r}."
        ) from None


def _cv_table(value: Any) -> dict[str, dict[str, float]]:
    if not isinstance(value, Mapping):
        raise WrongCall(
            "[quality] option 'acceptable_cv_pct' is a table of roles, for example "
            "{ pulp_duplicate = 10, field_duplicate = { default = 30, Au = 40 } }."
        )
    merged = {role: dict(table) for role, table in ACCEPTABLE_CV.items()}
    for role, limit in value.items():
        if role not in merged:
            raise unknown("role of duplicates", str(role), merged)
        if isinstance(limit, Mapping):
            merged[role].update({str(e): _positive(f"{role}.{e}", v) for e, v in limit.items()})
        else:
            merged[role] = {"default": _positive(role, limit)}
    return merged


def _trust_table(value: Any) -> dict[str, dict[str, tuple[str, str]]]:
    """Read ``{ Ba = "qualitative", xrf = { V = { class = "unusable", reason = "..." } } }``."""
    if not isinstance(value, Mapping):
        raise WrongCall(
            "[quality] option 'trust' is a table of elements, for example "
            '{ Ba = "qualitative", V = { class = "unusable", reason = "titanium" } }.'
        )
    out: dict[str, dict[str, tuple[str, str]]] = {}
    for name, given in value.items():
        one = not isinstance(given, Mapping) or "class" in given
        if one and name not in SYMBOLS:
            raise unknown("element of [quality] option 'trust'", str(name), SYMBOLS)
        rows = {name: given} if one else given
        for element, entry in rows.items():
            if element not in SYMBOLS:
                raise unknown("element of [quality] option 'trust'", str(element), SYMBOLS)
            level = entry.get("class") if isinstance(entry, Mapping) else entry
            reason = str(entry.get("reason", "")) if isinstance(entry, Mapping) else ""
            if level not in TRUST_CLASSES:
                raise unknown("trust class", str(level), TRUST_CLASSES)
            out.setdefault("" if one else str(name), {})[str(element)] = (str(level), reason)
    return out


def _positive(name: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not value > 0:
        raise WrongCall(f"[quality] option '{name}' must be a number above zero, got {value!r}.")
    return float(value)
