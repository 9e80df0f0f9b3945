"""Pictures in a PDF as they are packed already.

What lives here: a PDF may hold the packed pixels of a PNG unchanged, because its Flate filter knows
the row predictors of PNG (ISO 32000-1, 7.4.4.4). That spares unpacking and packing them again, which
takes longer than the text of a report.
"""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
#: bit depth 8, true colour, deflate, adaptive rows, not interlaced (PNG, IHDR)
_PLAIN = (8, 2, 0, 0, 0)


def packed_pixels(path: Path) -> tuple[int, int, bytes] | None:
    """Take the packed pixels out of a PNG.

    Parameters
    ----------
    path : Path
        The file.

    Returns
    -------
    (width, height, pixels) or None
        Size [pixel] and a zlib stream of rows, each led by its predictor; None unless the picture
        is of 8 bits per channel, red, green and blue, neither transparent nor interlaced.
    """
    content = path.read_bytes()
    if not content.startswith(_SIGNATURE):
        return None
    at, pixels, size = len(_SIGNATURE), [], None
    while at + 12 <= len(content):
        length, kind = struct.unpack_from(">I4s", content, at)
        part = content[at + 8 : at + 8 + length]
        if kind == b"IHDR":
            width, height, *form = struct.unpack(">IIBBBBB", part)
            if tuple(form) != _PLAIN:
                return None
            size = (width, height)
        elif kind == b"tRNS":
            return None
        elif kind == b"IDAT":
            pixels.append(part)
        elif kind == b"IEND":
            return (*size, b"".join(pixels)) if size and pixels else None
        at += 12 + length
    return None  # cut off


def put_in_store(pdf: Any, path: Path) -> None:
    """Let a document know a picture before it is placed; one of another form is left to it.

    Parameters
    ----------
    pdf : fpdf.FPDF
        A document, which looks into its store before it reads ``Path`` pictures.
    path : Path
        A PNG.
    """
    from fpdf.image_datastructures import RasterImageInfo

    store = pdf.image_cache.images
    found = packed_pixels(path) if str(path) not in store else None
    if found is None:
        return
    width, height, pixels = found
    store[str(path)] = RasterImageInfo(
        data=pixels, w=width, h=height, cs="DeviceRGB", bpc=8, dpn=3, f="FlateDecode",
        dp=f"/Predictor 15 /Colors 3 /Columns {width}", inverted=False, iccp=None, iccp_i=None,
        i=len(store) + 1, usages=0,
    )  # fmt: skip
