"""The report: its content once, as blocks; one writer for HTML, one for PDF.

What lives here: which records are told in which order (`content.py`), and the two writers. What
does not: figures (`geochem.outputs.figures`) and computing. To add a section: a function in
`content.py`. Test to copy: `tests/outputs/report/test_report.py`.
"""
