"""What is known about patchwork: pure geometry and plans.

The block plane, used by every module here: x to the right, y down, seen from
the right side (the face) of the block.  Lengths are inches as floats, angles
are degrees clockwise from +x as seen.  Outlines run clockwise as seen, so the
cloth of a piece lies to the right of its edges and its seam allowance to the
left.  Nothing in this package reads a file (the catalogue's data apart), talks
to a network or draws.
"""
