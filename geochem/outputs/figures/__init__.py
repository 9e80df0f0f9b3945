"""Static figures: PNG for screens and reports, PDF for print.

What lives here: one drawing function per file (`draw_<what>(records, *, ax=None, ...) -> Axes`), the
style sheet (`style`), map furniture and pages (`layout`, `panel`, `base_map`), and `renderer`, the
only place that writes files. What does not: any computing beyond sorting, counting and scaling for
the eye; global drawing state (`pyplot` is never imported).
To add a figure: a file with a function decorated by `style.styled`, a line in `renderer._jobs`.
Test to copy: `tests/outputs/figures/test_maps.py`.
"""
