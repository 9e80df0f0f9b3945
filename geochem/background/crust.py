"""Abundance of the elements in the upper continental crust: what rock is compared with."""

from __future__ import annotations

from functools import cache
from importlib.resources import files

REFERENCE = "Rudnick & Gao 2003, Treatise on Geochemistry 3.01 (from memory)"


@cache
def crustal_abundance() -> dict[str, float]:
    """Read the table `crustal_abundance.csv` beside this file.

    Returns
    -------
    dict of str to float
        Upper continental crust. [mg/kg]

    Examples
    --------
    >>> crustal_abundance()["Cu"]
    28.0
    """
    import csv

    text = (files("geochem.background") / "crustal_abundance.csv").read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if line and not line.startswith("#")]
    return {row["element"]: float(row["mg_per_kg"]) for row in csv.DictReader(lines)}
