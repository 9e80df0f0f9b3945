"""Outputs: what a run leaves in the result folder.

What lives here: renderers, one package each (figures, tables, gis, webmap, report, slides,
start_page). A renderer takes a `Bundle` and a folder, draws or writes, and returns the paths it
wrote; nothing is computed anew. What does not: any method of the steps before, any choice of a
threshold, any reading of input files other than pictures to be drawn.
To add one: a class with `name`, `summary`, `formats` and ``render(bundle, folder, *, option=...)
-> list[Path]``, and a line in `geochem.plugins` (or an entry point ``geochem.renderers``).
Test to copy: `tests/outputs/webmap/test_page.py`.
"""
