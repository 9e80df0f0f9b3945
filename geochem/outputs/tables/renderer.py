"""Writes the CSV files and the workbook of the result folder."""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.elements import element_rank
from geochem.model import tables as contract
from geochem.model.finding import findings_frame
from geochem.outputs.quality_tables import quality_sheets
from geochem.outputs.tables.csv_file import BLOCK, write_csv
from geochem.outputs.tables.sheet_rows import flag_cells, insert_rows, number_cells, text_cells
from geochem.outputs.text_cells import workbook_cell

if TYPE_CHECKING:
    import pandas as pd

    from geochem.model.bundle import Bundle


#: columns of the field log that the workbook shows; samples.csv holds all
_FOR_PEOPLE = {
    "sample_id", "medium", "kind", "grid", "line", "station", "horizon", "regolith", "lithology",
    "alteration", "elevation", "date", "notes",
}  # fmt: skip


class TablesRenderer:
    """CSV files and one workbook."""

    name = "tables"
    summary = "samples, targets, follow-up, holes, thresholds, quality, findings as CSV; XLSX"
    formats = ("csv", "xlsx")
    #: needs no file that another renderer writes
    reads_folder = False

    def render(self, bundle: Bundle, folder: Path, *, workbook: bool = True) -> list[Path]:
        """Write the tables.

        Parameters
        ----------
        bundle : Bundle
            Records of a run.
        folder : Path
            Result folder.
        workbook : bool, default True
            Write ``samples.xlsx`` as well.

        Returns
        -------
        list of Path
            What was written.
        """
        folder = Path(folder)
        report = bundle.targets
        frames = {
            "samples": sample_table(bundle),
            "targets": _without_geometry(report.targets, contract.TARGETS),
            "follow_up": _without_geometry(report.follow_up, contract.FOLLOW_UP),
            "holes": _without_geometry(report.holes, contract.HOLES),
            "thresholds": bundle.thresholds,
            "quality": bundle.quality.verdicts,
            "findings": findings_frame(bundle.findings),
        }
        written = []
        for name, frame in frames.items():
            path = folder / f"{name}.csv"
            write_csv(frame, path)
            written.append(path)
        if workbook:
            path = folder / "samples.xlsx"
            write_workbook(bundle, frames["samples"], path)
            written.append(path)
        return written


def sample_table(bundle: Bundle) -> pd.DataFrame:
    """Give all samples, located or not, with position columns and no geometry.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.

    Returns
    -------
    pandas.DataFrame
        ``sample_id, medium, easting, northing``, then the columns of the samples table; empty
        contract columns are left out.
    """
    import pandas as pd

    samples = bundle.survey.samples
    flat = pd.DataFrame(samples.drop(columns=samples.geometry.name))
    flat.insert(0, "northing", samples.geometry.y.round(2).to_numpy())
    flat.insert(0, "easting", samples.geometry.x.round(2).to_numpy())
    rest = bundle.survey.unlocated
    if len(rest):
        flat = pd.concat([flat, rest.reindex(columns=flat.columns)], ignore_index=True)
    first = ["sample_id", "medium", "easting", "northing"]
    known = [
        c
        for c in flat.columns
        if c not in first and not (c in contract.SAMPLES and flat[c].isna().all())
    ]
    return flat[[*first, *known]]


def _without_geometry(frame: Any, columns: dict[str, str]) -> pd.DataFrame:
    import pandas as pd

    flat = pd.DataFrame(frame).reindex(columns=list(columns))
    for name in ("easting", "northing", "elevation"):
        if name in flat.columns:
            flat[name] = pd.to_numeric(flat[name]).round(1)
    return flat


def write_workbook(bundle: Bundle, flat: pd.DataFrame, path: Path) -> None:
    """Write the samples for people: one column per element, limits as ``<5`` or ``>100``.

    Parameters
    ----------
    bundle : Bundle
        Records of a run.
    flat : pandas.DataFrame
        From `sample_table`.
    path : Path
        Workbook to write.
    """
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    elements = sorted(bundle.survey.elements, key=element_rank)
    element_columns = {f"{e}{s}" for e in elements for s in contract.SUFFIXES}
    plain = [
        c
        for c in flat.columns
        if c not in element_columns
        and "__" not in c
        and (c not in contract.SAMPLES or c in _FOR_PEOPLE)
        and flat[c].notna().any()
    ]
    book = Workbook(write_only=True)
    sheet = book.create_sheet("samples")
    sheet.freeze_panes = "B2"
    head = []
    for name in [*plain, *(f"{e} ppm" for e in elements)]:
        cell = WriteOnlyCell(sheet, value=workbook_cell(name))
        cell.font = Font(bold=True)
        head.append(cell)
    sheet.append(head)
    _quality_sheets(book, bundle)
    notes = book.create_sheet("notes")
    for line in (
        f"{workbook_cell(bundle.info.title)}",
        f"Coordinates: {bundle.info.crs} ({bundle.info.crs_name}), metres. "
        "Values: ppm (mg/kg), accepted.",
        "'<' stands before a detection limit: the value is lower, how much is not known. "
        "'>' stands before an upper limit.",
        "samples.csv holds every column: limits as flags, errors, every assay, preparation.",
        "The other sheets hold what quality control found; the points of control charts and the "
        "pairs of duplicates and calibrations are tables of campaign.gpkg.",
        "Portable XRF is screening, not a laboratory assay; a surface anomaly is not a resource.",
    ):
        notes.append([line])
    made = BytesIO()
    book.save(made)
    blocks = (
        [
            *(_plain_cells(block[name]) for name in plain),
            *(_element_cells(block, element) for element in elements),
        ]
        for block in (flat.iloc[k : k + BLOCK] for k in range(0, len(flat), BLOCK))
    )
    insert_rows(made, path, "xl/worksheets/sheet1.xml", blocks)


def _plain_cells(column: pd.Series) -> list[str]:
    """Make cells of a column of the field log: dates are texts, numbers have all their digits."""
    import numpy as np
    from pandas.api.types import is_bool_dtype, is_datetime64_any_dtype, is_numeric_dtype

    missing = column.isna().to_numpy()
    if is_datetime64_any_dtype(column.dtype):
        column = column.dt.strftime("%Y-%m-%d")
    values = column.tolist()
    if is_bool_dtype(column.dtype) and not missing.any():
        return flag_cells(values)
    if is_numeric_dtype(column.dtype):
        number = column.to_numpy(dtype=float, na_value=np.nan)
        return number_cells(f"{v:.16g}" if np.isfinite(v) else "" for v in number.tolist())
    return text_cells(
        "" if gone else workbook_cell(str(value))
        for value, gone in zip(values, missing, strict=True)
    )


def _element_cells(block: pd.DataFrame, element: str) -> list[str]:
    """Make cells of an element: a number, or a text with ``<`` or ``>`` before a limit."""
    import numpy as np
    import pandas as pd

    value = block[f"{element}_ppm"].to_numpy(dtype=float) + 0.0  # no zero has a sign
    known = np.isfinite(value)
    below = block[f"{element}_ppm_below"].eq(other=True).to_numpy(dtype=bool) & known
    above = block[f"{element}_ppm_above"].eq(other=True).to_numpy(dtype=bool) & known
    # values recur, limits above all: each is put into words once; what is missing has the code -1
    code, distinct = pd.factorize(np.where(known, value, np.nan), use_na_sentinel=True)
    words = [f"{v:.6g}" for v in distinct.tolist()]
    cells = np.array(number_cells([*words, ""]), dtype=object)[code]
    for mark, marked in (("<", below & ~above), (">", above)):
        if marked.any():
            texts = np.array(text_cells([f"{mark}{word}" for word in words]), dtype=object)
            cells[marked] = texts[code[marked]]
    made: list[str] = cells.tolist()
    return made


def _quality_sheets(book: Any, bundle: Bundle) -> None:
    """Write the short tables of quality control, a sheet each."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font

    for name, frame in quality_sheets(bundle.quality).items():
        sheet = book.create_sheet(name)
        sheet.freeze_panes = "A2"
        head = [WriteOnlyCell(sheet, value=str(column)) for column in frame.columns]
        for cell in head:
            cell.font = Font(bold=True)
        sheet.append(head)
        flat = frame.astype(object).where(frame.notna(), None)
        for row in flat.itertuples(index=False):
            sheet.append([_plain(value) for value in row])


def _plain(value: Any) -> Any:
    """Make a cell of a number, a date or a text."""
    if isinstance(value, float):
        return float(f"{value:.6g}")
    if hasattr(value, "strftime"):
        return value.strftime("%Y-%m-%d")
    return workbook_cell(value) if isinstance(value, str) else value
