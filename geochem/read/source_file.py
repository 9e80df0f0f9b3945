"""Which file may be read at all: local, there, not empty, no archive."""

from __future__ import annotations

import os
import re
import zipfile
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
#: unpacked size above which a workbook is not opened: a small file may unpack to fill the memory
MAX_UNPACKED = 2_000_000_000
#: a real workbook unpacks to some ten times its size; smaller ones may do as they like
MAX_RATIO, SUSPICIOUS_UNPACKED = 200, 100_000_000
#: letters of a path that are said: what no path can be may be long
_TOLD = 400
_ENTITY = b"<!ENTITY"
#: documents of the driver library that name other files or servers
_POINTING = re.compile(
    rb"<\s*(?:OGRVRTDataSource|OGRWFSDataSource|OGRPCIDSK|VRTDataset|GDAL_WM|WCS_GDAL|OGCAPI)"
)
_REMOTE = re.compile(r"^(?:[a-z][a-z0-9+.-]+:(?!$)|[\\/]vsi|[a-z]+:[\\/]vsi)", re.IGNORECASE)


def check_local(path: str | Path) -> Path:
    """Refuse a remote path, an archive, a file that is not there or points elsewhere.

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
    if not os.path.exists(place):  # noqa: PTH110 - says no to what no path can be
        folder = place.parent
        there = os.path.isdir(folder)  # noqa: PTH112 - likewise
        beside = sorted(p.name for p in folder.glob("*")) if there else []
        from geochem.errors import nearest

        raise DataRefused(
            f"there is no file '{text[:_TOLD]}'.{nearest(place.name, beside)} "
            "Check the path; a relative path starts at the campaign file."
        )
    if not place.is_dir():
        _check_content(place)
    return place


def _check_content(place: Path) -> None:
    """Refuse what is no plain file, and documents that would make a reader look elsewhere."""
    if not place.is_file():
        raise DataRefused(f"'{place}' is not a plain file; save the table or layer as one.")
    try:
        with place.open("rb") as stream:
            head = stream.read(65_536)
            if _POINTING.search(_narrow(head)):
                raise DataRefused(
                    f"'{place.name}' holds no data but points to other sources; give the path of "
                    "the file that holds them."
                )
            if _narrow(head).lstrip().startswith(b"<") and place.suffix.lower() != ".html":
                block, tail = head, b""
                while block:
                    if _ENTITY in _narrow(tail + block):
                        raise DataRefused(
                            f"'{place.name}' defines entities, which files of places never need "
                            "and which may blow up or read other files; export it again."
                        )
                    tail = block[-32:]
                    block = stream.read(1 << 20)
    except OSError as error:
        raise DataRefused(
            f"'{place.name}' cannot be opened ({error.strerror}); close it in other programs and "
            "check that you may read it."
        ) from error


def _narrow(content: bytes) -> bytes:
    """Bring text of two bytes per character to one; markup is plain ASCII."""
    content = content.removeprefix(b"\xef\xbb\xbf").removeprefix(b"\xff\xfe")
    content = content.removeprefix(b"\xfe\xff")
    return content.replace(b"\x00", b"") if b"\x00" in content[:200] else content


def check_unpacked(
    place: Path, what: str = "workbook", instead: str = "save the table as .csv"
) -> None:
    """Refuse a document that is damaged, or that would fill the memory when it is unpacked.

    Parameters
    ----------
    place : Path
        A workbook or presentation, which is a zip file.
    what, instead : str
        What it is, and what else to give, for the message.

    Raises
    ------
    DataRefused
        If it is not a whole zip file, unpacks to more than 2 GB, or to more than 100 MB and 200
        times its size; or if a part defines entities, which no workbook needs.
    """
    try:
        with zipfile.ZipFile(place) as archive:
            parts = archive.infolist()
            unpacked = sum(i.file_size for i in parts)
            packed = max(place.stat().st_size, 1)
            if unpacked > MAX_UNPACKED or (
                unpacked > SUSPICIOUS_UNPACKED and unpacked > MAX_RATIO * packed
            ):
                raise DataRefused(
                    f"'{place.name}' would unpack from {packed / 1e6:.1f} MB to "
                    f"{unpacked / 1e6:,.0f} MB; {instead}."
                )
            for part in parts:
                if part.filename.lower().endswith((".xml", ".rels")):
                    with archive.open(part) as stream:
                        start = _narrow(stream.read(4096))
                    if b"<!DOCTYPE" in start.upper() or _ENTITY in start.upper():
                        raise DataRefused(
                            f"'{place.name}' defines entities in {part.filename}, which no "
                            f"{what} needs; save it again in the program it comes from."
                        )
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, OSError) as error:
        raise DataRefused(
            f"'{place.name}' is not a whole {what}; copy or export it again, or {instead}."
        ) from error


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
