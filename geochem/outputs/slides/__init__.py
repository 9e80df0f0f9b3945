"""Slides for companies and investors: editable text and tables, all results, cautions.

What lives here: which records are shown in which order (`renderer.py`) and how a slide is laid
out (`layout.py`). Probabilities stay off the slides. Test to copy:
`tests/outputs/slides/test_slides.py`.
"""
