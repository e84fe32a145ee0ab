"""Readers of vector drawings: SVG, DXF and HPGL to one neutral value."""
