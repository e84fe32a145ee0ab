"""Outlines as polygons and back: what tracing, shapes and masks all stand on."""
