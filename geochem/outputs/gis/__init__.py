"""Files for desktop GIS and handhelds: GeoPackage, GeoJSON, GPX, SLD, GeoTIFF.

What lives here: which record becomes which layer. GDAL (through pyogrio and rasterio) writes all
formats; only the style documents are made here. Test to copy: `tests/outputs/gis/test_gis.py`.
"""
