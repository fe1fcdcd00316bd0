"""Drawings in true units: marks, their line kinds, labels, lettering and fabric patterns."""
