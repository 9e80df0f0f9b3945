"""Sheets: what a plan leaves on paper and in files.

What lives here: the field sheet (`field_sheet`, words in `steps`), the planning note for the
office (`note`), tables and workbooks (`tables`), points for handhelds and tablets (`points`), the
curve of chance against cost (`curve`), labels (`labels`), all from one record (`content`) by
`writer`. What does not: any choice of a point, sample or control (planning).
To add a sheet: a function in a file of its own and a line in `writer.write_sheets`.
Test to copy: `tests/outputs/sheets/test_sheets.py`.
"""
