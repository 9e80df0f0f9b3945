"""The command line: parses, calls, prints. No logic here.

To add a command: a function in `main.py` that calls something of `geochem.campaign`.
Test to copy: `tests/cli/test_main.py`.
"""
