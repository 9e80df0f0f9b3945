"""Arrays in, numbers out: the mathematics that more than one step needs.

What lives here: one file per subject (robust, censored, mixture, piecewise, intervals,
declustering, logratio, mcd, regression, variogram, ...), numpy and scipy only. What does not:
tables, geometry, files, drawing, thresholds or verdicts.
To add a subject: a module of functions that check their arguments, with private twins that hold
the bare formula, and frozen records for what they return. Tests to copy:
`tests/stats/test_robust.py`.
"""
