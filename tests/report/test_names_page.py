"""The report of a name list: pictures that share outlines, painted by a renderer of SVG that is not ours."""

import io
import re

import numpy as np
import resvg_py
from PIL import Image

from maskgen.formats.path_forms import Sketch
from maskgen.model.job import Job, Part, Shape
from maskgen.report.names_page import NamePicture, write_names_report

JOB = Job(title="Larkmoor Sky Society, name plates", part=Part(Shape.PLATE, width_mm=60.0, height_mm=30.0))
RING = "l8 0 0 8 -8 0zm2 2l0 4 4 0 0 -4z"
"""A square with a square hole."""
WEDGE = "l6 0 -3 5z"
PLAIN = (
    [("#c03020", Sketch((5.0, 6.0), RING)), ("#c03020", Sketch((20.5, 7.25), WEDGE))],
    [("#c03020", Sketch((30.0, 10.0), WEDGE)), ("#2040a0", Sketch((3.0, 18.0), RING))],
    [("#2040a0", Sketch((48.5, 1.5), RING)), ("#2040a0", Sketch((10.0, 2.0), RING)), ("#111111", Sketch((0, 0), ""))],
)


def page(pictures):
    names = [NamePicture(n, f"Orla {n}", 1, "", outlines) for n, outlines in enumerate(pictures, 1)]
    kinds = {"findings": (), "blanks": {}, "sheets": (), "sheet_count": 0, "lots": (), "estimate": None, "notes": ()}
    return b"".join(write_names_report(JOB, reports=(), pictures=names, **kinds)).decode()


def painted(bodies):
    """Paint pictures side by side in one drawing, as they stand on one page."""
    inner = "".join(f'<svg x="{60 * n}" width="60" height="30">{body}</svg>' for n, body in enumerate(bodies))
    drawing = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 180 30" width="720" height="120">{inner}</svg>'
    return np.asarray(Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=drawing)))).convert("RGBA")).astype(
        int
    )


def test_outlines_named_once_look_like_outlines_written_each_time():
    html = page(PLAIN)
    bodies = re.findall(r"<figure><svg [^>]*>(.*?)</svg>", html)
    assert len(bodies) == 3
    plain = [
        "".join(f'<path fill="{c}" fill-rule="evenodd" d="{s.data}"/>' for c, s in picture if s.steps)
        for picture in PLAIN
    ]
    assert (painted(plain)[..., 3] > 0).sum() > 1000
    assert np.abs(painted(bodies) - painted(plain)).max() <= 2
    # two outlines, however often they come
    assert html.count(RING) == 1
    assert html.count(WEDGE) == 1
