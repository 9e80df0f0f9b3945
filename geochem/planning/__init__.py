"""Planning: where to sample, how surely that finds a body, what to send to a laboratory.

What lives here: the ground that may be walked (`ground`), layouts, one kind per file (`grids`,
`line_stations`, `followed_lines`, `stratified`) behind one door (`layouts`), which north an
azimuth means (`north`), what a layout finds and costs (`chances`), the orientation survey
(`orientation`), ids with blind controls (`controls`), the choice for the laboratory (`dispatch`,
`submission`), gaps between plan and log and the day's points (`gaps`, `day`).
What does not: infill around targets (targets), sheets and files (outputs), formulas (stats).
To add a layout: a file with one function that gives places line by line, and a line in
`layouts.KINDS`. Test to copy: `tests/planning/test_layouts.py`.
"""
