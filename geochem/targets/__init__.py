"""Targets: from scores per sample to outlines, their rank, follow-up samples and holes.

What lives here: sampling grounds that can carry an outline (`ground`; the filter that lets a
coherent halo stand out is in `geochem.stats.halo_filter`), made ready (`grid_parts`), the barren
surveys they are judged against (`barren`, `null`), what is uncertain about a peak (`doubt`),
outlines (`outlines`, `polygons`, `catchments`, `leads`), what stands in and around them (`inside`,
`laboratory`, `rock_chips`, `surroundings`), ranking (`criteria`, `weighted_criteria`, `ranking`,
`identity`, `sentences`), what to do next (`follow_up`, `holes`) and the order of the work
(`propose`).
What does not: scores of samples (anomalies), sampling of new ground (planning), drawing (outputs).
To add a criterion: a row in `criteria.py` and an option with its weight in
`weighted_criteria.py`. Test to copy: `tests/targets/test_weighted_criteria.py`.
"""
