"""Sheets as SVG, PDF and ZIP; names put on sheets that are drawn."""
