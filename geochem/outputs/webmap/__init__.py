"""The interactive map: one HTML file that opens without network.

What lives here: packing of the records into typed arrays (`packing`, `sample_rows`,
`element_values`, `vector_layers`, `target_entries`, `surface_image`), the page (`page`,
`leaflet_files`), and its script and style in ``assets/`` (plain JavaScript, no build step).
What does not: statistics; the page compares values with thresholds it was given, nothing more.
To add a layer: a packed entry in `vector_layers` and a way to draw it in ``assets/vectors.js``;
to add a view of the samples: ``assets/views.js``. Parts of the page speak through ``store`` in
``assets/store.js`` (element, view, selection), so that further panes can share the selection.
Tests to copy: `tests/outputs/webmap/test_page.py` (text), `test_in_browser.py` (Chromium).
"""
