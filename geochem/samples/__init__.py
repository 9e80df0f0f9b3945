"""From tables that were read to one survey: join, locate, check, put beside, accept.

What lives here: matching of ids, controls, positions in the campaign CRS, preparation flags, layer
joins, per-sample values of each assay, the accepted value, and the measured sampling grid. What
does not: reading of files, verdicts about quality, statistics.
To add a step: a function in a file of its own that takes tables and returns new ones with
findings; wire it into `assemble.py`. Tests to copy: `tests/samples/test_join.py`.
"""
