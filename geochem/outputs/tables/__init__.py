"""Tables for spreadsheets: CSV and XLSX, in the campaign CRS and mg/kg.

What lives here: which record becomes which file. What does not: choosing or computing values.
To add a table: one line in `renderer.py`. Test to copy: `tests/outputs/tables/test_tables.py`.
"""
