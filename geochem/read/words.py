"""Words in cells of a field log: medium, kind of rock, role of a control."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from geochem.model.finding import Finding, name_some
from geochem.model.tables import ROLES
from geochem.read.synonyms import MEDIA, ROCK_KINDS, ROLE_WORDS, VAGUE_ROLES, squeeze


def read_media(
    texts: npt.NDArray[Any], *, file: str, column: str, rows: npt.NDArray[Any]
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.object_], list[Finding]]:
    """Bring media to the words of the house.

    Parameters
    ----------
    texts : ndarray of str or None, shape (n_rows,)
        Cells.
    file, column, rows
        For findings.

    Returns
    -------
    medium, kind : ndarray of object, shape (n_rows,)
        `kind` where the word itself says how a rock came to hand.
    findings : list of Finding
        Words that were not understood; they are kept as they stand, in small letters.
    """
    medium = np.full(len(texts), None, dtype=object)
    kind = np.full(len(texts), None, dtype=object)
    strange: dict[str, list[int]] = {}
    for i, text in enumerate(texts):
        if text is None or text == "":
            continue
        word = squeeze(text)
        if word in MEDIA:
            medium[i], kind[i] = MEDIA[word], ROCK_KINDS.get(word)
        else:
            medium[i] = " ".join(text.lower().split())
            strange.setdefault(text, []).append(int(rows[i]))
    findings = [
        Finding(
            "medium-unknown", "warning",
            f"'{word}' in column '{column}' is no medium known here ({len(where)} rows, first "
            f"{name_some(where, 3)}); it was kept as it stands and is mapped only. Known: "
            f"{', '.join(sorted(set(MEDIA.values())))}.", file, where[0], column,
        )
        for word, where in sorted(strange.items())
    ]  # fmt: skip
    return medium, kind, findings


def read_roles(
    texts: npt.NDArray[Any], *, file: str, column: str, rows: npt.NDArray[Any]
) -> tuple[npt.NDArray[np.object_], list[Finding]]:
    """Bring roles to the words of the contract; an empty cell is routine.

    Parameters
    ----------
    texts : ndarray of str or None, shape (n_rows,)
        Cells; compared without case, spaces standing for underscores.
    file, column, rows
        For findings.

    Returns
    -------
    role : ndarray of object, shape (n_rows,)
        One of `tables.ROLES`, None for a word that was not understood.
    findings : list of Finding
        Words that are no role, words that leave the kind open.
    """
    role = np.full(len(texts), None, dtype=object)
    strange: dict[str, list[int]] = {}
    vague: dict[str, list[int]] = {}
    known = {squeeze(r): r for r in ROLES} | ROLE_WORDS
    for i, text in enumerate(texts):
        if text is None or text == "":
            role[i] = "routine"
            continue
        word = squeeze(text)
        if word in known:
            role[i] = known[word]
            if word in VAGUE_ROLES:
                vague.setdefault(text, []).append(int(rows[i]))
        else:
            strange.setdefault(text, []).append(int(rows[i]))
    findings = [
        Finding(
            "role-unknown", "warning",
            f"'{word}' in column '{column}' is no role ({len(where)} rows, first "
            f"{name_some(where, 3)}); these rows count as routine samples. Known: "
            f"{', '.join(ROLES)}.", file, where[0], column,
        )
        for word, where in sorted(strange.items())
    ]  # fmt: skip
    findings += [
        Finding(
            "role-vague", "note",
            f"'{word}' in column '{column}' leaves open which kind is meant; it was read as "
            f"{known[squeeze(word)]} ({len(where)} rows).", file, where[0], column,
        )
        for word, where in sorted(vague.items())
    ]  # fmt: skip
    return role, findings


def are_roles(texts: npt.NDArray[Any]) -> bool:
    """Say whether a column of kinds of samples holds roles and no media."""
    words = {squeeze(t) for t in texts.tolist() if t}
    known = {squeeze(r) for r in ROLES} | set(ROLE_WORDS)
    return bool(words) and words <= known and not words & set(MEDIA)
