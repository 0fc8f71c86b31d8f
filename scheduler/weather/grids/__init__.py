"""Gridded files: GRIB2 messages, inventories with byte ranges, and the hours at a site."""
