"""DXF drawings, opened and audited by the library's reader; areas and extents against the model's own exact ones.

Bulge = tan(a quarter of the angle), positive anticlockwise; $INSUNITS 4 = millimetres (published DXF reference).
"""

import io
import math
import os
import subprocess
import sys
from functools import reduce

import ezdxf
import numpy as np
import pytest
import shapely

from maskgen.formats.dxf import write_cut
from maskgen.model.job import DxfVersion
from maskgen.model.masks import ArcDrawing, ArcPath
from maskgen.model.paths import Area, area_of, bounds
from maskgen.shape.arc_paths import arc_drawing


def opened(data):
    document = ezdxf.read(io.StringIO(data.decode("ascii")))
    audit = document.audit()
    assert not audit.errors
    assert not audit.fixes
    return document


def corners(entity):
    if entity.dxftype() == "LWPOLYLINE":
        assert entity.closed
        return [tuple(p) for p in entity.get_points("xyb")]
    assert entity.is_closed
    return [(v.dxf.location.x, v.dxf.location.y, v.dxf.get("bulge", 0.0)) for v in entity.vertices]


def drawn(points):
    """Corner points with every arc walked round its centre, worked out from the meaning of the bulge."""
    for (x0, y0, bulge), (x1, y1, _) in zip(points, points[1:] + points[:1], strict=True):
        yield x0, y0
        if bulge:
            chord = complex(x1 - x0, y1 - y0)
            centre = complex(x0 + x1, y0 + y1) / 2 + 1j * chord * (1 - bulge**2) / (4 * bulge)
            for share in np.linspace(0, 1, 257)[1:-1]:
                point = centre + (complex(x0, y0) - centre) * np.exp(1j * share * 4 * math.atan(bulge))
                yield point.real, point.imag


@pytest.mark.parametrize("version", DxfVersion)
def test_reads_back_the_same(drawing, version):
    document = opened(write_cut(arc_drawing(drawing), version=version))
    entities = list(document.modelspace())
    assert {e.dxftype() for e in entities} == {"LWPOLYLINE" if version is DxfVersion.R2000 else "POLYLINE"}
    assert {e.dxf.layer for e in entities} == {"CUT"}
    assert len(entities) == sum(len(piece.rings) for piece in drawing.pieces)
    shape = reduce(shapely.symmetric_difference, [shapely.Polygon(list(drawn(corners(e)))) for e in entities])
    assert shape.area == pytest.approx(area_of(Area(drawing.pieces)), rel=5e-4)
    left, top, right, bottom = bounds(Area(drawing.pieces))
    low = drawing.top + drawing.height
    assert shape.bounds == pytest.approx((left - drawing.left, low - bottom, right - drawing.left, low - top), abs=0.01)


def test_states_millimetres():
    document = opened(write_cut(ArcDrawing(0, 0, 30, 20, ())))
    assert document.dxfversion == "AC1015"
    assert document.header["$INSUNITS"] == 4
    assert tuple(document.header["$EXTMAX"]) == (30, 20, 0)


def test_r12_is_r12():
    assert opened(write_cut(ArcDrawing(0, 0, 30, 20, ()), version=DxfVersion.R12)).dxfversion == "AC1009"


def test_holes_come_before_the_outline_round_them(drawing):
    document = opened(write_cut(arc_drawing(drawing)))
    shapes = [shapely.Polygon(list(drawn(corners(e)))) for e in document.modelspace()]
    later = iter(shapes)
    for piece in drawing.pieces:
        *holes, outline = [next(later) for _ in piece.rings]
        assert all(outline.contains(hole) for hole in holes)


def test_arcs_keep_their_side():
    # a half disc of radius 5 that bulges down the face: in the file, y up, it must bulge down as well
    path = ArcPath(((15.0, 4.0, 1.0), (5.0, 4.0, 0.0)))
    (entity,) = opened(write_cut(ArcDrawing(0.0, 0.0, 30.0, 20.0, (path,)))).modelspace()
    assert corners(entity) == [(15.0, 16.0, -1.0), (5.0, 16.0, 0.0)]
    half_disc = shapely.Polygon(list(drawn(corners(entity))))
    assert half_disc.bounds == pytest.approx((5, 11, 15, 16), abs=1e-2)
    assert half_disc.area == pytest.approx(math.pi * 25 / 2, rel=1e-3)


def test_corners_that_fall_together_leave_one():
    path = ArcPath(((1.0, 1.0, 0.0), (5.0, 1.0, 0.3), (5.00001, 1.0, 0.0), (5.0, 4.0, 0.0), (1.00001, 1.0, 0.0)))
    (entity,) = opened(write_cut(ArcDrawing(0.0, 0.0, 10.0, 10.0, (path,)))).modelspace()
    assert corners(entity) == [(1.0, 9.0, 0.0), (5.0, 9.0, 0.0), (5.0, 6.0, 0.0)]


def test_same_bytes_in_every_run():
    script = (
        "import hashlib\n"
        "from maskgen.formats.dxf import write_cut\n"
        "from maskgen.model.masks import ArcDrawing, ArcPath\n"
        "d = ArcDrawing(0, 0, 9, 9, (ArcPath(((1, 1, 0.5), (5, 1, 0), (5, 4, 0))),))\n"
        "print(hashlib.sha256(write_cut(d)).hexdigest())"
    )
    runs = {
        subprocess.run(
            [sys.executable, "-c", script],
            capture_output=True,
            text=True,
            check=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
        ).stdout
        for seed in ("1", "2")
    }
    assert len(runs) == 1


def test_the_librarys_switch_is_put_back():
    before = ezdxf.options.write_fixed_meta_data_for_testing
    write_cut(ArcDrawing(0, 0, 9, 9, ()))
    assert ezdxf.options.write_fixed_meta_data_for_testing == before
