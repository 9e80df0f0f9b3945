"""Bytes of a text file to UTF-8, with what was found: encoding, line ends, NUL bytes."""

from __future__ import annotations

import codecs

_MARKS: tuple[tuple[bytes, str], ...] = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


def to_utf8(data: bytes, encoding: str | None = None) -> tuple[bytes, str, bool]:
    r"""Bring the bytes of a text file to UTF-8 with line feeds, without a byte-order mark.

    Parameters
    ----------
    data : bytes
        The whole file.
    encoding : str, optional
        What the user says.

    Returns
    -------
    data : bytes
        UTF-8, lines ended by a line feed, also the last one.
    encoding : str
        What it was.
    certain : bool
        False when the bytes are no UTF-8 and a Western European code page was taken.

    Raises
    ------
    UnicodeDecodeError, LookupError
        If the stated encoding does not fit or is not known.

    Examples
    --------
    >>> to_utf8(b"\xef\xbb\xbfa;b\r\n1;2")
    (b'a;b\n1;2\n', 'utf-8-sig', True)
    """
    found, certain = encoding, True
    if found is None:
        found, certain = _find(data)
    name = codecs.lookup(found).name
    if name == "utf-8" and data.startswith(codecs.BOM_UTF8):
        name, found = "utf-8-sig", "utf-8-sig"
    if name == "utf-8-sig":
        data = data.removeprefix(codecs.BOM_UTF8)
        if not data.isascii():
            data.decode("utf-8")
    elif name not in {"utf-8", "ascii"}:
        data = data.decode(found).lstrip("\ufeff").encode("utf-8")
    elif not data.isascii():
        data.decode("utf-8")
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n")
        if b"\r" in data:
            data = data.replace(b"\r", b"\n")
    if not data.endswith(b"\n"):
        data += b"\n"
    return data, found, certain


def _find(data: bytes) -> tuple[str, bool]:
    for mark, name in _MARKS:
        if data.startswith(mark):
            return name, True
    head = data[:4000]
    # UTF-16 without a mark: every second byte of Western text is NUL
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = max(len(head) // 2, 1)
    if odd > 0.3 * half and even < 0.05 * half:
        return "utf-16-le", True
    if even > 0.3 * half and odd < 0.05 * half:
        return "utf-16-be", True
    if data.isascii():
        return "utf-8", True
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        pass
    else:
        return "utf-8", True
    try:
        data.decode("cp1252")
    except UnicodeDecodeError:
        return "latin-1", False
    return "cp1252", False
