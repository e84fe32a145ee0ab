"""The report of a name list: pictures that share outlines, painted by a renderer of SVG that is not ours."""

import io
import re

import numpy as np
import resvg_py
from PIL import Image

from maskgen.formats.path_forms import Sketch
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.job import Job, Part, Shape
from maskgen.model.names import NameRow, RowReport, RowStatus
from maskgen.report.names_page import NamePicture, SheetPicture, write_names_report

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


def listed(**more):
    rows = [NameRow(7, "ORLA", 2, "GUIDE <b>"), NameRow(8, "I", 1)]
    reports = [RowReport(rows[0], RowStatus.WARNED, "look here"), RowReport(rows[1], RowStatus.MADE)]
    # Two copies of M2 of row 7 and one narrow mask of row 8.
    boxes = ((10.0, 20.0, 60.0, 30.0), (70.0, 20.0, 120.0, 30.0), (130.0, 20.0, 133.0, 30.0))
    sheet = SheetPicture(1, 300.0, 40.0, (7, 7, 8), ("M2", "M2", "M2"), boxes, b"<svg ><path d=''/></svg>")
    kinds = {"findings": (), "blanks": {}, "sheet_count": 1, "lots": (), "estimate": None, "notes": ()}
    pictures = [NamePicture(7, "ORLA / GUIDE", 2, "", ()), NamePicture(8, "I", 1, "", ())]
    kinds = {**kinds, "sheets": [sheet], "pictures": pictures, **more}
    return b"".join(write_names_report(JOB, reports=reports, **kinds)).decode()


def test_a_sheet_says_which_film_is_whose_and_where_it_lies():
    html = listed()
    labels = re.findall(r'<text class="number" x="([\d.]+)" y="([\d.]+)" font-size="([\d.]+)">([^<]*)</text>', html)
    assert [label[3] for label in labels] == ["7 M2 ORLA / GUIDE &lt;b&gt;"] * 2 + ["8 M2"]
    for (x, y, size, words), right in zip(labels, (60.0, 120.0, 133.0), strict=True):
        # Liberation Sans, as most sans faces, is hardly wider than 0.62 of its height a letter, from memory.
        assert float(x) + 0.5 * float(size) * len(words.replace("&lt;", "<").replace("&gt;", ">")) < right + 0.5
        assert float(y) < 20.0
    spots = re.findall(r"<li><bdi>([^<]*)</bdi></li>", html)
    assert spots == ["7 ORLA / GUIDE &lt;b&gt; M2: 10, 20 and 1 more", "8 I M2: 130, 20"]
    assert html.count('class="tag look"') == 1


def test_what_is_found_on_every_part_stands_once_by_kind():
    many = [
        Finding(Code.LOOSE_ISLAND, Severity.WARNING, f"free {n}", "see", (n, 1.0), "M1", n, 2.0 + n, 1.5)
        for n in range(9)
    ]
    many.append(Finding(Code.OFF_PART, Severity.ERROR, "over the edge", "move it", (0.0, 0.0), value=2.0, limit=0.0))
    html = listed(findings=many)
    heads = re.findall(r"<p><strong>([^<]*)</strong>", html)
    assert len(heads) == 2
    assert "edge" in heads[0]  # the error first
    assert heads[1].endswith("9 places")
    assert html.count("<details><summary>all 9 of this kind") == 1
