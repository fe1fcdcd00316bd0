"""Planar geometry: points, paths, polygons, and what is done to them. Patchwork is not in it."""
