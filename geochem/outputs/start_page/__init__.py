"""The start page of a result folder: what was done, what to look at, cautions, links.

Test to copy: `tests/outputs/start_page/test_start_page.py`.
"""
