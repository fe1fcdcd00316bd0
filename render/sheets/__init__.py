"""Sheets: what of which drawing lies where, and what stands beside it; of no output format."""
