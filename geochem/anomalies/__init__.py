"""Anomalies: what is unusual per sample, per association and per neighbourhood.

What lives here: robust z and probability per element (`univariate`), gates (`gates`), associations
and their scores (`associations`, `residuals`, `batch_steps`, `whitening`; `association_score` for
rock and few samples), what else explains an anomaly (`rivals`), coherence (`spatial`), robust
distances (`multivariate`), groups (`clusters`), and the order of all that (`search`).
What does not: backgrounds and thresholds, outlines and ranking, mathematics that others need too
(that is in `geochem.stats`).
To add a step: a file of its own, called from `search`. Tests to copy: `tests/anomalies/`.
"""
