"""Geometry of vinyl: widths, islands, bridges, offsets, nesting."""
