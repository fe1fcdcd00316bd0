"""Searches for the best, with proofs, that know nothing of patchwork."""
