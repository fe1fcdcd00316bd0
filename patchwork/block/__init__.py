"""A block as its author means it: read from a description, its pieces, fabrics, joins and seams."""
