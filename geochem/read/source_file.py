"""Which file may be read at all: local, there, not empty, no archive."""

from __future__ import annotations

import re
from pathlib import Path

from geochem.errors import DataRefused

#: endings of archives, which are never opened as tables or layers
ARCHIVES = frozenset(
    {".zip", ".gz", ".tgz", ".bz2", ".xz", ".7z", ".rar", ".tar", ".zst", ".kmz", ".lz4"}
)
#: a workbook is a zip file by construction, so the first bytes alone do not make an archive
_WORKBOOKS = frozenset({".xlsx", ".xlsm"})
#: other kinds of workbook, each with the first bytes it may have
_OWN_FORMS = {".xls": b"\xd0\xcf", ".ods": b"PK\x03\x04", ".xlsb": b"PK\x03\x04"}
_FIRST_BYTES = {
    b"PK\x03\x04": "a zip archive",
    b"PK\x05\x06": "an empty zip archive",
    b"\x1f\x8b": "a gzip archive",
    b"BZh": "a bzip2 archive",
    b"\xfd7zXZ": "an xz archive",
    b"7z\xbc\xaf": "a 7z archive",
    b"Rar!": "a rar archive",
    b"\x28\xb5\x2f\xfd": "a zstd archive",
    b"%PDF": "a PDF document",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"SQLite format 3": "a database or GeoPackage",
    b"\xd0\xcf\x11\xe0": "an old binary workbook (.xls) or a locked one",
    b"PAR1": "a Parquet file",
}
_REMOTE = re.compile(r"^(?:[a-z][a-z0-9+.-]+:/{1,2}|[\\/]vsi|[a-z]+:[\\/]vsi)", re.IGNORECASE)


def check_local(path: str | Path) -> Path:
    """Refuse a remote path, an archive, and a file that is not there.

    Parameters
    ----------
    path : str or Path
        As given by the user.

    Returns
    -------
    Path
        The same, usable.

    Raises
    ------
    DataRefused
        With a sentence that names the file and says what to do.
    """
    text = str(path)
    # pathlib folds "https://" to "https:/"; a drive letter ("C:/") has one letter only
    if _REMOTE.match(text) or text.startswith(("/vsi", "\\vsi", "//", "\\\\?\\vsi")):
        raise DataRefused(
            f"'{text}' is not a file on this computer; only local files are read. "
            "Save it on this computer and give its path."
        )
    place = Path(path)
    endings = {s.lower() for s in place.suffixes[-2:]}
    if endings & ARCHIVES:
        raise DataRefused(
            f"'{place.name}' is an archive; archives are not opened. Unpack it and give the path "
            "of the file inside."
        )
    if not place.exists():
        beside = sorted(p.name for p in place.parent.glob("*")) if place.parent.is_dir() else []
        from geochem.errors import nearest

        raise DataRefused(
            f"there is no file '{text}'.{nearest(place.name, beside)} "
            "Check the path; a relative path starts at the campaign file."
        )
    return place


def check_table(path: str | Path) -> Path:
    """Refuse what cannot be a table: everything of `check_local`, a folder, an empty file.

    Parameters
    ----------
    path : str or Path
        As given by the user.

    Returns
    -------
    Path
        The same, usable.

    Raises
    ------
    DataRefused
        With a sentence that names the file and says what to do.
    """
    place = check_local(path)
    if place.is_dir():
        raise DataRefused(f"'{place}' is a folder; give the path of one table inside it.")
    try:
        with place.open("rb") as stream:
            first = stream.read(32)
    except OSError as error:
        raise DataRefused(
            f"'{place.name}' cannot be opened ({error.strerror}); close it in other programs and "
            "check that you may read it."
        ) from error
    if not first.strip():
        raise DataRefused(f"'{place.name}' is empty; export it again.")
    ending = place.suffix.lower()
    for start, what in _FIRST_BYTES.items():
        if ending in _OWN_FORMS and start.startswith(_OWN_FORMS[ending]):
            continue
        if first.startswith(start) and not (ending in _WORKBOOKS and start.startswith(b"PK")):
            if ending in _WORKBOOKS and start == b"\xd0\xcf\x11\xe0":
                what = "locked with a password or an old binary workbook"
            raise DataRefused(
                f"'{place.name}' is {what}, not a table; save the table as .csv or .xlsx and give "
                "that file."
            )
    return place
