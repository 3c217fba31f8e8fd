"""A result as files: tables, layers and rasters for GIS, way points, and the folder they are written to."""
