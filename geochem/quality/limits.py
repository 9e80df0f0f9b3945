"""Every number that quality control decides by, with where it comes from; all can be changed."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import cache, partial
from importlib.resources import files
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


@cache
def limit_rows() -> dict[str, list[dict[str, Any]]]:
    """Read `limits.toml`: the limits that are tables, each row with its source.

    Returns
    -------
    dict of str to list of dict
        ``duplicates`` and ``trust``.
    """
    text = (files("geochem.quality") / "limits.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def acceptable_cvs(deposit: str = "general") -> dict[str, dict[str, float]]:
    """Give the acceptable RMS CV of pairs by role and element.

    Parameters
    ----------
    deposit : str, default "general"
        One that `limits.toml` names, for closer limits of its elements.

    Returns
    -------
    dict of role to dict of element to float
        ``default`` serves elements that are not named. [%]

    Raises
    ------
    WrongCall
        If the deposit is not known.

    Examples
    --------
    >>> acceptable_cvs()["pulp_duplicate"]["Au"], acceptable_cvs("porphyry")["pulp_duplicate"]["Au"]
    (20.0, 10.0)
    """
    rows = limit_rows()["duplicates"]
    known = ["general", *sorted({r["deposit"] for r in rows if "deposit" in r})]
    if deposit not in known:
        raise unknown("value of [quality] option 'deposit'", deposit, known)
    out: dict[str, dict[str, float]] = {}
    for row in rows:
        if row.get("deposit", deposit) == deposit:
            out.setdefault(row["role"], {}).update({e: float(v) for e, v in row["cv_pct"].items()})
    return out


def _stated(name: str) -> float:
    """Give the limit of a trust class that `limits.toml` states."""
    return float(next(row["value"] for row in limit_rows()["trust"] if row["name"] == name))


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
        Relative SD allowed to quantitative portable XRF, and to its chromium. [%]
    definitive_r2, definitive_rsd_pct, screening_r2 : float
        Limits of the trust classes: correlation with the laboratory, relative SD. [-, %, -]
    qualitative_below_pct, qualitative_bias_pct : float
        More below detection, or more bias where no laboratory tells, makes an element qualitative.
        These seven stand in `limits.toml` with their sources. [%]
    blank_warn_limits, blank_fail_limits : float
        A blank warns and fails beyond so many detection limits (common practice, no source). [-]
    blank_matters_pct : float
        A blank fails its batch only when the excess is this share of the median sample (common
        practice, no source). [%]
    duplicates_from_limits : float
        Pairs under so many detection limits stay out of the CV (common practice, no source). [-]
    deposit : str
        Kind of deposit whose acceptable CV of duplicates hold, see `limits.toml`.
    acceptable_cv_pct : mapping of role to mapping of element to float
        ``default`` serves elements that are not named; defaults in `limits.toml`. [%]
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
    precision_pct: float = field(default_factory=partial(_stated, "precision_pct"))
    precision_cr_pct: float = field(default_factory=partial(_stated, "precision_cr_pct"))
    definitive_r2: float = field(default_factory=partial(_stated, "definitive_r2"))
    definitive_rsd_pct: float = field(default_factory=partial(_stated, "definitive_rsd_pct"))
    screening_r2: float = field(default_factory=partial(_stated, "screening_r2"))
    qualitative_below_pct: float = field(default_factory=partial(_stated, "qualitative_below_pct"))
    qualitative_bias_pct: float = field(default_factory=partial(_stated, "qualitative_bias_pct"))
    blank_warn_limits: float = 3.0
    blank_fail_limits: float = 5.0
    blank_matters_pct: float = 20.0
    duplicates_from_limits: float = 10.0
    deposit: str = "general"
    acceptable_cv_pct: Mapping[str, Mapping[str, float]] = field(default_factory=acceptable_cvs)
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
            continue
        if name == "deposit":
            given[name] = str(value)
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
    given["acceptable_cv_pct"] = _cv_table(
        options.get("acceptable_cv_pct", {}), acceptable_cvs(given.get("deposit", "general"))
    )
    limits = QualityLimits(**given)
    for low, high in (
        ("warn_s", "reject_s"),
        ("departure_warn_pct", "departure_fail_pct"),
        ("blank_warn_limits", "blank_fail_limits"),
        ("calibration_pairs_provisional", "calibration_pairs"),
        ("screening_r2", "definitive_r2"),
        ("definitive_rsd_pct", "precision_pct"),
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


def _cv_table(value: Any, merged: dict[str, dict[str, float]]) -> dict[str, dict[str, float]]:
    if not isinstance(value, Mapping):
        raise WrongCall(
            "[quality] option 'acceptable_cv_pct' is a table of roles, for example "
            "{ pulp_duplicate = 10, field_duplicate = { default = 30, Au = 40 } }."
        )
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
