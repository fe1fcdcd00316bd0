"""From plans to sheets: drawings in true units, pages, SVG and PDF."""
