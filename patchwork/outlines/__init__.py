"""Cut outlines: seam allowance, corners, dog ears, raw edges that match."""
