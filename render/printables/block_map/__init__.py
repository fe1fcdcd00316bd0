"""The block map: what lies where on it, and how it is drawn."""
