"""Our own pictures: results in, SVG with alt text and a table out."""
