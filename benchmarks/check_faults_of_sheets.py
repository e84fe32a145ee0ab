"""Faults of the drawing as a whole: panels, what cannot be cut, pens, the page, the scale.

Written from the meaning of the codes alone (`docs/checking.md`), nothing of the checker's code.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import shapely

from benchmarks.check_fault import DRAWN, DXF, HPGL, SVG, Fault, X, Y, cut, piece, spot
from benchmarks.check_shapes import Shape, blob, box, circle, line, rounded
from benchmarks.check_svg import HIGH, WIDE


def backing_panels(chance: random.Random) -> Iterator[Fault]:
    """Rectangles behind and around everything, and rectangles that are neither."""
    middle_x, middle_y = WIDE / 2, HIGH / 2
    forms = (
        ("sharp", box(middle_x, middle_y, WIDE - 2, HIGH - 2)),
        ("the page", box(middle_x, middle_y, WIDE, HIGH)),
        ("rounded", rounded(middle_x, middle_y, WIDE - 2, HIGH - 2, 4.0)),
        ("rounded more", rounded(middle_x, middle_y, WIDE - 2, HIGH - 2, 6.0)),
    )
    fills = frozenset({"mm fills", "in symbols", "zipped", "no unit, inner viewport", "cm fills and lines, mirrored"})
    others = frozenset({"mm hairlines", "px shapes", "pt style sheet, turned", "prefixed, one path"})
    for name, run in forms:
        yield Fault(
            "backing-panel",
            f"filled, {name}",
            True,
            piece(run),
            run.polygon(),
            severity="error",
            formats=frozenset({SVG}),
            but=others,
            turns=False,
            behind=True,
        )
        yield Fault(
            "backing-panel",
            f"a line, {name}",
            True,
            cut(run),
            run.polygon(),
            severity="warning",
            formats=frozenset({SVG}),
            but=fills - {"mm fills", "zipped"},
            turns=False,
        )
        yield Fault(
            "backing-panel",
            f"drawn, {name}",
            True,
            cut(run),
            run.polygon(),
            severity="warning",
            formats=DRAWN,
            turns=False,
            but=frozenset({"R2018 blocks"}),
        )
    part = box(middle_x - 14, middle_y, WIDE - 30, HIGH - 4)
    yield Fault(
        "backing-panel",
        "around some",
        False,
        (*cut(part), *piece(box(X, Y, 8, 8))),
        turns=False,
        allowed=frozenset({"loose-island", "thin-land", "narrow-gap", "small-piece"}),
        formats=DRAWN,
    )
    yield Fault("backing-panel", "a piece like others", False, piece(box(X, Y, 12, 9)))
    yield Fault("backing-panel", "alone", False, piece(box(X, Y, 12, 9)), whole=True)
    two = (*piece(box(X - 6, Y, 9, 9)), *piece(box(X + 6, Y, 9, 9)))
    yield Fault("backing-panel", "two beside one another", False, two, whole=True)
    holes = piece(box(X - 40, Y, 60, 40), *(circle(X - 60 + 20 * k, Y, 5).reversed() for k in range(3)))
    yield Fault(
        "backing-panel",
        "a plate with openings in one path",
        False,
        holes,
        whole=True,
        turns=False,
        formats=frozenset({SVG}),
        but=others | {"cm fills and lines, mirrored"} - {"prefixed, one path"},
    )


def seen(chance: random.Random) -> Iterator[Fault]:
    """What cannot be cut or was not understood, where it is seen, and where it is not."""
    exact = spot().buffer(0.01)
    image = f'<image x="{X}" y="{Y}" width="5" height="5" href="data:image/png;base64,iVBORw0KGgo="/>'
    gradient = '<linearGradient id="q"><stop stop-color="red"/><stop offset="1"/></linearGradient>'
    square = f'x="{X}" y="{Y}" width="6" height="6"'
    wide = shapely.box(X - 1, Y - 6, X + 16, Y + 8)
    svg = (
        ("live-text", "text", True, f'<text x="{X}" y="{Y}" font-size="5">Vega</text>', wide),
        ("live-text", "spans", True, f'<text font-size="5"><tspan x="{X}" y="{Y}">Vega</tspan></text>', wide),
        ("live-text", "not shown", False, f'<text x="{X}" y="{Y}" display="none">Vega</text>', None),
        ("live-text", "without letters", False, f'<text x="{X}" y="{Y}"> </text>', None),
        ("live-text", "in a definition", False, f'<defs><text x="{X}" y="{Y}">Vega</text></defs>', None),
        ("picture", "image", True, image, wide),
        ("picture", "file", True, image.replace("data:image/png;base64,iVBORw0KGgo=", "moon.jpg"), wide),
        ("picture", "hidden", False, f'<g visibility="hidden">{image}</g>', None),
        ("picture", "in a symbol", False, f'<symbol id="z">{image}</symbol>', None),
        ("unread", "gradient", True, f'<defs>{gradient}</defs><rect {square} fill="url(#q)"/>', wide),
        ("unread", "gradient unused", False, f"<defs>{gradient}</defs>", None),
        (
            "unread",
            "filter",
            True,
            f'<defs><filter id="q"><feGaussianBlur stdDeviation="1"/></filter></defs>'
            f'<g filter="url(#q)"><rect {square}/></g>',
            wide,
        ),
        (
            "unread",
            "mask",
            True,
            f'<defs><mask id="q"><rect {square} fill="#fff"/></mask></defs><rect {square} mask="url(#q)"/>',
            wide,
        ),
        (
            "unread",
            "pattern",
            True,
            f'<defs><pattern id="q" width="2" height="2"><path d="M0 0h1v1z"/></pattern></defs>'
            f'<rect {square} fill="url(#q)"/>',
            wide,
        ),
        ("unread", "foreign object", True, f"<foreignObject {square}><p>a</p></foreignObject>", None),
        (
            "unread",
            "marker",
            True,
            f'<defs><marker id="q"><path d="M0 0h1v1z"/></marker></defs>'
            f'<path d="M{X} {Y}h6v6z" marker-start="url(#q)"/>',
            wide,
        ),
        (
            "unread",
            "clip that hides",
            True,
            f'<defs><clipPath id="q">'
            f'<rect x="{X}" y="{Y}" width="3" height="9"/></clipPath>'
            f'</defs><rect {square} clip-path="url(#q)"/>',
            wide,
        ),
        ("unread", "path that breaks off", True, f'<path d="M{X} {Y}h6v6zQ3 x"/>', wide),
    )
    for code, size, told, more, where in svg:
        yield Fault(
            code,
            size,
            told,
            where=where if told else None,
            more_svg=more,
            formats=frozenset({SVG}),
            but=frozenset({"prefixed, one path"}),
            allowed=frozenset({"open-path"}),
            turns=False,
        )
    drawn = frozenset({"R12 polylines"})
    yield Fault(
        "live-text", "TEXT", True, turns=False, where=wide, extras=(("text", X, Y, "Vega"),), formats=frozenset({DXF})
    )
    yield Fault(
        "live-text",
        "MTEXT",
        True,
        turns=False,
        where=wide,
        extras=(("mtext", X, Y, "Vega"),),
        formats=frozenset({DXF}),
        but=drawn,
    )
    yield Fault(
        "live-text", "LB", True, turns=False, where=exact, extras=(("text", X, Y, "Vega"),), formats=frozenset({HPGL})
    )
    yield Fault(
        "picture",
        "IMAGE",
        True,
        turns=False,
        where=wide,
        extras=(("image", X, Y),),
        formats=frozenset({DXF}),
        but=drawn,
    )
    yield Fault("unread", "HATCH", True, turns=False, extras=(("hatch", X, Y),), formats=frozenset({DXF}), but=drawn)
    yield Fault("unread", "3DFACE", True, turns=False, extras=(("face", X, Y),), formats=frozenset({DXF}))
    yield Fault("unread", "an instruction", True, turns=False, extras=(("odd", X, Y),), formats=frozenset({HPGL}))


def pen_strokes(chance: random.Random) -> Iterator[Fault]:
    """Strokes under and over the limits."""
    for width in (0.08, 0.1, 0.301, 0.33, 1.0, 2.5):
        told = width >= 0.3
        for name, run in (
            ("box", box(X, Y, 9, 7)),
            ("curve", blob(X, Y, 6, chance)),
            ("line", line((X, Y), (X + 8, Y))),
        ):
            if name == "line" and not told:
                continue
            yield Fault(
                "pen-stroke",
                f"{width} {name}",
                told,
                (Shape((run,), filled=False, width=width),),
                run.line(),
                width if told else None,
                formats=frozenset({SVG, DXF}) if told else frozenset({SVG}),
            )


def off_sheet(chance: random.Random) -> Iterator[Fault]:
    """Over each edge of the page, below zero, larger than the film or the sheet."""
    for over in (-0.01, 0.1, 2.0, 30.0):
        told = over > 0
        for side, (x, y) in (
            ("left", (3 - over, 27.0)),
            ("top", (22.0, 3 - over)),
            ("right", (WIDE - 3 + over, Y)),
            ("bottom", (X, HIGH - 3 + over)),
        ):
            run = box(x, y, 6, 6)
            out = shapely.difference(run.line(), shapely.box(0, 0, WIDE, HIGH).buffer(1e-6))
            above = side in ("right", "top")
            beside = frozenset({"crossing-pieces", "narrow-gap", "thin-land", "doubled-line", "self-crossing"})
            formats = frozenset({SVG}) if above else frozenset({SVG, HPGL})
            yield Fault(
                "off-sheet",
                f"{side} by {over}",
                told,
                piece(run),
                out if told else None,
                formats=formats,
                turns=False,
                fine=True,
                allowed=beside | {"unread"},
            )
    yield Fault("off-sheet", "negative", False, piece(box(-20, 120, 9, 9)), formats=frozenset({DXF}), turns=False)
    for size, told in (((299.0, 400.0), False), ((400.0, 299.0), False), ((302.0, 304.0), True)):
        run = circle(200, 200, 5), box(size[0] / 2, size[1] / 2 - HIGH, *size)
        yield Fault(
            "off-sheet",
            f"{size[0]:.0f} x {size[1]:.0f} on film of 300",
            told,
            cut(*run),
            formats=frozenset({DXF}),
            turns=False,
            whole=True,
            but=frozenset({"R2018 blocks"}),
            allowed=frozenset({"backing-panel", "loose-island"}),
        )
    for size, told in (((99.0, 49.0), False), ((49.0, 99.0), False), ((101.5, 20.0), True), ((60.0, 60.0), True)):
        run = box(55, 40, *size)
        yield Fault(
            "off-sheet",
            f"{size[0]:.1f} x {size[1]:.0f} on a sheet of 100 x 50",
            told,
            cut(run),
            turns=False,
            whole=True,
            options=(("sheet_mm", (100.0, 50.0)),),
            allowed=frozenset({"off-sheet"} if size[1] > 80 else ()),
            formats=frozenset({DXF}),
            but=frozenset({"R2018 blocks"}),
        )


def scales(chance: random.Random) -> Iterator[Fault]:
    """Sizes against the part; what states no unit is expected of its writers."""
    drawn = piece(box(30, 15, 50, 24))
    for size, factor, told in (
        ("as it is", 1.0, False),
        ("inches as mm", 1 / 25.4, None),
        ("mm as inches", 25.4, True),
        ("ten times", 10.0, True),
        ("96 for 72", 96 / 72, True),
        ("too wide", 1.3, True),
        ("a little narrow", 0.95, False),
    ):
        if told is None:
            continue
        shapes = tuple(s.mapped((factor, 0, 0, factor, 0, 0)) for s in drawn)
        allowed = frozenset({"off-sheet", "small-piece", "thin-land"})
        yield Fault(
            "scale-doubt",
            size,
            told,
            shapes,
            whole=True,
            turns=False,
            options=(("part", (52.0, 26.0)),),
            allowed=allowed,
            but=frozenset({"R12 polylines", "no unit, inner viewport", "R2018 blocks"}),
        )
