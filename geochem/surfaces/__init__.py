"""Interpolated surfaces of densely sampled media.

What lives here: which values are interpolated on which grid, cross-validation, masks. What does
not: the mathematics (`geochem.stats.kriging`, `geochem.stats.variogram`), files, drawing. Only
soil and till are interpolated; stream sediments and picked rock never are.
To add a method: a branch in `estimate.py`. Test to copy: `tests/surfaces/test_make.py`.
"""
