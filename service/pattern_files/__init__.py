"""Files that people send: patterns of their own, as PDF, SVG or picture, read under limits."""
