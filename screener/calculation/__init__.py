"""The calculation sheet of one lot: every step from raster cell to chosen item, built once and shown in three forms."""
