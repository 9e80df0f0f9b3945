"""Reading: files become tables, text first, and nothing is shifted or dropped without a word.

What lives here: the text layer (`delimited`, `workbook`), what cells and headers mean (`values`,
`numerals`, `headers`, `columns`), and one file per table a campaign has (`field_log`, `assays`,
`standards`, `layers`), with `inspection` that shows how a file is understood.
What does not: joining by sample id, changing coordinates of samples, judging quality.
To add a format: a file with a class that has `name`, `summary`, `api_version = 1`,
`can_read(path)` and `read(path, ...)`, like `delimited.DelimitedReader`; to teach a new header or
word: the table at the top of `synonyms.py`. Tests to copy: `tests/read/test_bad_files.py`.
"""

from __future__ import annotations

from typing import Any

__all__ = [
    "inspect_table",
    "read_assays",
    "read_field_log",
    "read_layers",
    "read_standards",
]

_PLACES = {
    "inspect_table": "geochem.read.inspection",
    "read_assays": "geochem.read.assays",
    "read_field_log": "geochem.read.field_log",
    "read_layers": "geochem.read.layers",
    "read_standards": "geochem.read.standards",
}


def __getattr__(name: str) -> Any:
    """Load a public name on first touch."""
    if name in _PLACES:
        import importlib

        return getattr(importlib.import_module(_PLACES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
