"""What is answered: a module for each printable, from its plan to JSON, PDF, SVG or ZIP."""
