"""A printed pattern read back: from the marks on its sheets to sections, pieces and their order."""
