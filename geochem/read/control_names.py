"""Controls known by their names: patterns of ids that the campaign file declares."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, NamedTuple

import numpy.typing as npt

from geochem.errors import WrongCall, unknown
from geochem.model.finding import Finding, name_some
from geochem.model.tables import ROLES
from geochem.read.synonyms import ROLE_WORDS, squeeze

_HAVE_PARENT = frozenset(
    {"field_duplicate", "coarse_duplicate", "pulp_duplicate", "repeat", "reread", "umpire"}
)


class ControlName(NamedTuple):
    """One declared pattern."""

    text: str
    pattern: re.Pattern[str]
    role: str
    standard: str | None

    @property
    def names_parent(self) -> bool:
        """Whether the one ``*`` of the pattern stands for the id of another sample."""
        one = self.text.count("*") == 1 and "?" not in self.text
        return one and self.role in _HAVE_PARENT


def read_patterns(controls: Mapping[str, Any] | None) -> tuple[ControlName, ...]:
    """Check declared patterns of control names.

    Parameters
    ----------
    controls : mapping, optional
        Pattern -> role, or -> ``{"role": , "standard": }``. In a pattern ``*`` stands for any
        text and ``?`` for one character; case does not matter.

    Returns
    -------
    tuple of ControlName
        Longer patterns first, so that the more particular one decides.

    Raises
    ------
    WrongCall
        If a role is not known, or a pattern would match every id.

    Examples
    --------
    >>> [(p.role, p.standard) for p in read_patterns({"STD-A*": "standard"})]
    [('standard', 'STD-A')]
    """
    out = []
    for text, said in (controls or {}).items():
        entry = {"role": said} if isinstance(said, str) else dict(said)
        for key in entry:
            if key not in ("role", "standard"):
                raise unknown(f"key of controls.'{text}'", key, ("role", "standard"))
        word = str(entry.get("role", "standard"))
        role = word if word in ROLES else ROLE_WORDS.get(squeeze(word))
        if role is None:
            raise unknown(f"role of controls.'{text}'", word, ROLES)
        if not text.strip("*? "):
            raise WrongCall(f"controls.'{text}' would match every id; give some letters of it.")
        standard = entry.get("standard")
        if role == "standard" and standard is None:
            standard = text.split("*")[0].split("?")[0].rstrip(" -_.") or None
        parts = re.split(r"([*?])", text)
        made = "".join("(.*)" if p == "*" else "(.)" if p == "?" else re.escape(p) for p in parts)
        out.append(ControlName(text, re.compile(made, re.IGNORECASE), role, standard))
    return tuple(sorted(out, key=lambda c: (-len(c.text), c.text)))


def name_controls(
    ids: npt.NDArray[Any],
    controls: tuple[ControlName, ...],
    *,
    role: npt.NDArray[Any],
    parent: npt.NDArray[Any],
    standard: npt.NDArray[Any],
    file: str,
    given: npt.NDArray[Any] | None = None,
) -> list[Finding]:
    """Give roles to ids that match a pattern and have none yet; changes the three arrays.

    The parent of a duplicate or repeat is what the only ``*`` of its pattern stands for.

    Parameters
    ----------
    ids : ndarray of str or None, shape (n_rows,)
        Sample ids.
    controls : tuple of ControlName
        From `read_patterns`.
    role, parent, standard : ndarray of object, shape (n_rows,)
        As the table says; None where it says nothing.
    file : str
        For the finding.
    given : ndarray of object, optional
        Cells of the role column: an empty one leaves the word to the name.

    Returns
    -------
    list of Finding
        How many ids became which control.
    """
    named: dict[str, list[str]] = {}
    used: set[str] = set()
    cache: dict[str, tuple[ControlName, re.Match[str]] | None] = {}
    for i, sample in enumerate(ids.tolist()):
        said = role[i] if given is None else given[i]
        if sample is None or said is not None:
            continue
        if sample not in cache:
            cache[sample] = next(
                ((c, m) for c in controls if (m := c.pattern.fullmatch(sample))), None
            )
        hit = cache[sample]
        if hit is None:
            continue
        control, match = hit
        role[i] = control.role
        used.add(control.text)
        if control.role == "standard" and standard[i] is None:
            standard[i] = control.standard
        if control.names_parent and parent[i] is None and match[1].strip(" -_."):
            parent[i] = match[1].strip(" -_.")
        named.setdefault(control.role, []).append(sample)
    findings = [
        Finding(
            "controls-by-name", "note",
            f"{len(dict.fromkeys(samples))} ids of '{file}' became {word} by their names: "
            f"{name_some(list(dict.fromkeys(samples)))}.", file, None, "role",
        )
        for word, samples in sorted(named.items())
    ]  # fmt: skip
    idle = [c.text for c in controls if c.text not in used]
    if idle:
        findings.append(
            Finding(
                "control-name-unused", "note",
                f"no id of '{file}' matches the control names {name_some(sorted(idle))}.", file,
            )
        )  # fmt: skip
    return findings
