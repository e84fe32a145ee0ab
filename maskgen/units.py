"""Every conversion of units, and nothing else.

Sources: CSS Values (1 in = 96 px = 2.54 cm, 1 pt = 1/72 in, 1 pc = 12 pt, 1 Q = 1/4 mm); HPGL summaries
(1 unit = 0.025 mm); DXF reference ($INSUNITS codes).
"""

MM_PER_INCH = 25.4
MM_PER_CSS_PX = MM_PER_INCH / 96.0
MM_PER_POINT = MM_PER_INCH / 72.0
HPGL_UNITS_PER_MM = 40

MM_PER_CSS_UNIT = {
    "mm": 1.0,
    "cm": 10.0,
    "q": 0.25,
    "in": MM_PER_INCH,
    "pt": MM_PER_POINT,
    "pc": 12.0 * MM_PER_POINT,
    "px": MM_PER_CSS_PX,
}
