"""Read a list of lines like ``S001 Cu 12.5`` or ``S001 Pb <10``, values in mg/kg."""

from pathlib import Path

import pandas as pd

from geochem.errors import DataRefused
from geochem.model import tables
from geochem.model.reading import AssayRead, Dialect


class LineListReader:
    """Lists of lines: sample, element, value."""

    name = "line_list"
    summary = "lines of sample, element and value, ending .lines"
    api_version = 1
    #: the conformance checks read it
    example = ("example.lines", b"S001 Cu 12.5\nS001 Pb <10\nS002 Cu 14\n")

    def can_read(self, path: str | Path) -> bool:
        return Path(path).suffix.lower() == ".lines"

    def read(
        self, path: str | Path, *, source: str = "laboratory", assay: str | None = None
    ) -> AssayRead:
        """Read the list.

        Parameters
        ----------
        path : str or Path
            The file.
        source : str, default "laboratory"
            What made the values.
        assay : str, optional
            Name of the assay; by default the source.
        """
        place = Path(path)
        rows = []
        for number, line in enumerate(place.read_text(encoding="utf-8").splitlines(), 1):
            parts = line.split()
            if not parts:
                continue
            if len(parts) != 3:
                raise DataRefused(f"'{place.name}' line {number} is not: sample element value.")
            sample, element, text = parts
            try:
                value = float(text.lstrip("<"))
            except ValueError:
                raise DataRefused(f"'{place.name}' line {number}: '{text}' is no value.") from None
            rows.append(
                {
                    "sample_id": sample, "assay": assay or source, "source": source,
                    "element": element, "value": value, "below": text.startswith("<"),
                    "above": False, "limit_inferred": False, "unit_given": "ppm", "raw": text,
                    "file": place.name, "row": number,
                }
            )  # fmt: skip
        results = tables.conform(pd.DataFrame(rows), tables.RESULTS)
        analytes = pd.DataFrame(
            {
                "assay": assay or source, "source": source, "element": element, "name": element,
                "unit_given": "ppm", "factor": 1.0, "n": len(part),
                "n_below": int(part["below"].sum()), "n_above": 0, "accepted": False,
                "calibrated": False,
            }
            for element, part in results.groupby("element")
        )  # fmt: skip
        return AssayRead(
            results=results,
            roles=pd.DataFrame(columns=["sample_id", "role", "parent", "standard"], dtype=object),
            analytes=tables.conform(analytes, tables.ANALYTES),
            dialect=Dialect("utf-8", " ", "."),
            columns=(),
        )
