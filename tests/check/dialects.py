"""One drawing of polygons written as several programs would: SVG in many ways, DXF of several ages, HPGL.

A drawing is a list of runs (corners, closed) in millimetres, y down, on a page of 60 x 30. Every writer tells where a
place of it is found in the report: DXF and HPGL have y up, and are told with y down from their own origin.
"""

import gzip
import io
import itertools

import ezdxf

PAGE = (60.0, 30.0)
XMLNS = 'xmlns="http://www.w3.org/2000/svg"'


def same(x, y):
    return x, y


def from_bottom(x, y):
    return x, y - PAGE[1]


def path_data(points, closed, places=4):
    words = "L".join(f"{x:.{places}f} {y:.{places}f}" for x, y in points)
    return f"M{words}{'Z' if closed else ''}"


def plain_svg(runs):
    style = 'fill="none" stroke="#000" stroke-width="0.05"'
    body = "".join(f'<path {style} d="{path_data(*run)}"/>' for run in runs)
    return f'<svg {XMLNS} width="60mm" height="30mm" viewBox="0 0 60 30">{body}</svg>'.encode()


def layered_svg(runs):
    """Nested, moved and scaled groups, classes in a style sheet, a prefix for SVG, pixels behind millimetres."""
    body = "".join(
        f'<svg:path class="cut" d="{path_data([(x * 10 - 7, y * 10 + 5) for x, y in points], closed)}"/>'
        for points, closed in runs
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE svg PUBLIC "-//W3C//DTD SVG 1.1//EN" '
        '"http://www.w3.org/Graphics/SVG/1.1/DTD/svg11.dtd">\n<svg:svg xmlns:svg="http://www.w3.org/2000/svg" '
        'xmlns:x="urn:other" width="6cm" height="3cm" viewBox="0 0 600 300"><svg:defs><svg:style type="text/css">'
        "<![CDATA[ .cut { fill:none; stroke:#FF0000; stroke-width:0.072pt } ]]></svg:style></svg:defs>"
        '<x:view zoom="1"/><svg:metadata/><svg:g id="layer1" transform="translate(10,-8)">'
        f'<svg:g transform="matrix(1 0 0 1 -3 3)">{body}</svg:g></svg:g></svg:svg>'
    ).encode()


def inch_svg(runs):
    """Relative paths, inches, minified numbers, a symbol that is used."""
    paths = []
    for points, closed in runs:
        x0, y0 = points[0]
        steps, here = [], (round(x0, 4), round(y0, 4))
        for x, y in points[1:]:
            steps.append(f"{x - here[0]:.4f},{y - here[1]:.4f}")
            dx, dy = map(float, steps[-1].split(","))
            here = (here[0] + dx, here[1] + dy)
        paths.append(f'<path d="m{x0:.4f},{y0:.4f}{" ".join(["", *steps])}{"z" if closed else ""}"/>')
    return (
        f'<svg {XMLNS} xmlns:xlink="http://www.w3.org/1999/xlink" width="{60 / 25.4:.8f}in" height="{30 / 25.4:.8f}in" '
        'viewBox="0 0 60 30"><defs><symbol id="all" overflow="visible" viewBox="0 0 60 30">'
        f'<g style="fill:none;stroke:black;stroke-width:.02">{"".join(paths)}</g></symbol></defs>'
        '<use xlink:href="#all" width="60" height="30"/></svg>'
    ).encode()


def zipped_svg(runs):
    return gzip.compress(plain_svg(runs))


def _dxf(runs, version, draw):
    document = ezdxf.new(version)
    if version != "R12":
        document.header["$INSUNITS"] = 4
    document.layers.add("CUT")
    for points, closed in runs:
        draw(document.modelspace(), [(x, PAGE[1] - y) for x, y in points], closed)
    text = io.StringIO()
    document.write(text)
    return text.getvalue().encode()


def polyline_dxf(runs):
    return _dxf(runs, "R2000", lambda m, p, c: m.add_lwpolyline(p, close=c, dxfattribs={"layer": "CUT"}))


def late_dxf(runs):
    def block(space, points, closed):
        name = f"PART{len(space.doc.blocks)}"
        space.doc.blocks.new(name, base_point=(5, 5)).add_lwpolyline(points, close=closed)
        space.add_blockref(name, (5, 5))

    return _dxf(runs, "R2018", block)


def line_dxf(runs):
    """Single lines, every other one drawn backwards."""

    def lines(space, points, closed):
        pairs = list(zip(points, points[1:] + points[:1] if closed else points[1:], strict=False))
        for k, (a, b) in enumerate(pairs):
            space.add_line(*((b, a) if k % 2 else (a, b)))

    return _dxf(runs, "R2010", lines)


def old_dxf(runs):
    return _dxf(runs, "R12", lambda m, p, c: m.add_polyline2d(p, close=c))


def hpgl(runs):
    words = ["IN;SP1;"]
    for points, closed in runs:
        units = [f"{round(x * 40)},{round((PAGE[1] - y) * 40)}" for x, y in points]
        if closed:
            units.append(units[0])
        words.append(f"PU{units[0]};PD{','.join(units[1:])};")
    return "".join([*words, "PU0,0;SP0;"]).encode()


def loose_hpgl(runs):
    """Lower case, relative moves, no terminators, a label's worth of settings."""
    words = ["in df sp2 vs20 "]
    for points, closed in runs:
        units = [(round(x * 40), round((PAGE[1] - y) * 40)) for x, y in points]
        if closed:
            units.append(units[0])
        words.append(f"pu pa {units[0][0]} {units[0][1]} pd pr ")
        words.extend(f"{b[0] - a[0]} {b[1] - a[1]} " for a, b in itertools.pairwise(units))
    return "".join([*words, "pu"]).encode()


# name, writer, file name, where a place is told, whether the unit is stated
SVG = [
    ("plain.svg", plain_svg, same),
    ("layered.svg", layered_svg, same),
    ("inch.svg", inch_svg, same),
    ("zipped.svgz", zipped_svg, same),
]
DXF = [
    ("polyline.dxf", polyline_dxf, from_bottom),
    ("late.dxf", late_dxf, from_bottom),
    ("line.dxf", line_dxf, from_bottom),
    ("old.dxf", old_dxf, from_bottom),
]
HPGL = [("square.plt", hpgl, from_bottom), ("loose.hpgl", loose_hpgl, from_bottom)]
ALL = SVG + DXF + HPGL
