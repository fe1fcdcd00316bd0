"""Planar geometry: points, paths and polygons. Of patchwork it knows little more than the plane."""
