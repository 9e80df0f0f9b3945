"""Nouns: frozen records and table contracts.

What lives here: records that steps hand to each other, names and order of table columns, the
findings. What does not: mathematics, files, drawing.
To add a record: a frozen dataclass with a docstring that names every field, unit and shape, in the
file of its subject. Tests to copy: `tests/model/test_tables.py`.
"""

from geochem.model.finding import Finding, findings_frame
from geochem.model.survey import Survey

__all__ = ["Finding", "Survey", "findings_frame"]
