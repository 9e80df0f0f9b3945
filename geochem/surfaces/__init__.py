"""Interpolated surfaces of densely sampled media, and catchments of stream sediments.

What lives here: which values are interpolated on which grid and scale (`make`, `element`, `scale`,
`entering`), pieces of ground and cross-validation (`pieces`, `estimate`), sparse elements helped by
dense ones (`sparse`), log-ratios (`log_ratios`), masks (`grid`), the ground upstream of stream
sediments (`catchments`, `flow`, `network`). What does not: the mathematics (`geochem.stats.kriging`,
`variogram`, `back_transform`, `dilution` ...), files, drawing. Only soil and till are interpolated;
stream sediments and picked rock never are.
To add an option: `options.py`, and where it acts. Test to copy: `tests/surfaces/test_make.py`.
"""
