"""The report, the bench sheet and the proof: complete, self-contained, the same for the same job."""

import dataclasses
import io
import re
from html.parser import HTMLParser

import numpy as np
import pytest
import resvg_py
from PIL import Image

from maskgen.model.dyeing import DyeBath
from maskgen.model.paths import Area, Piece, area_of, polygon_ring
from maskgen.report.bench import write_bench_sheet
from maskgen.report.outline_data import outline_data, plain_data
from maskgen.report.page import write_report
from maskgen.report.proof_pdf import write_proof_pdf
from maskgen.report.proof_png import write_proof
from maskgen.report.scene import definitions
from maskgen.report.scene_sheets import SheetViews
from maskgen.report.words import WORDS
from maskgen.shape.nest import nest

VOID = {"meta", "br", "img", "input", "hr", "link"}


class Page(HTMLParser):
    """Collects what the tests ask of a page, and complains of tags that do not nest."""

    def __init__(self, text):
        super().__init__()
        self.open, self.ids, self.text, self.elements = [], [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))
        self.ids += [value for key, value in attributes if key == "id"]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attributes):
        self.elements.append((tag, dict(attributes)))
        self.ids += [value for key, value in attributes if key == "id"]

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] not in ("style", "script"):
            self.text.append(data)


@pytest.fixture(scope="module")
def page(result):
    return Page(write_report(result).decode())


def test_the_page_fetches_nothing(result, page):
    for tag, attributes in page.elements:
        assert tag not in ("link", "iframe", "img", "object")
        for key in ("src", "href", "xlink:href"):
            assert attributes.get(key, "#").startswith("#"), (tag, attributes)
    assert "url(http" not in write_report(result).decode()
    assert "@import" not in write_report(result).decode()


def test_every_picture_says_what_it_is_and_ids_are_unique(page):
    assert len(page.ids) == len(set(page.ids))
    for tag, attributes in page.elements:
        if tag == "svg":
            assert attributes.get("aria-label") or attributes.get("aria-hidden") == "true"


def test_what_a_picture_uses_is_there(page):
    used = {a["href"][1:] for tag, a in page.elements if tag == "use"}
    assert used
    assert used <= set(page.ids)


def test_the_page_says_the_figures(result, page):
    text = " ".join(" ".join(page.text).split())
    assert "Dome <plates> & Ölwanne" in text
    assert "A note." in text
    for region in result.plan.regions:
        assert region.name in text
        assert region.predicted in text
    for step in result.plan.sequence.steps:
        if isinstance(step, DyeBath):
            assert f"Dye: {step.dye}, {step.minutes:g} min" in text
    assert f"{result.plan.sequence.strips} (proven least)" in text
    for caution in WORDS.cautions:
        assert caution in text


def test_the_same_job_gives_the_same_papers(result):
    for write in (write_report, write_bench_sheet, write_proof, write_proof_pdf):
        assert write(result) == write(result)


def test_no_number_stands_without_its_unit(page):
    """In the figures of the page a bare number is a count; everything measured has its unit."""
    text = " ".join(page.text)
    assert not re.search(r"\d\.\d+ (?!mm|cm|m\b|min|EUR|%|µm|°C)", text.split("Step by step")[0])


def test_more_copies_cost_the_page_next_to_nothing(result):
    """Outlines are stated once: a further copy on a sheet takes its place and its number, not its curves."""
    job = result.job
    sizes = []
    for quantity in (1, 60):
        sheets = nest(result.masks, quantity=quantity, resist=job.resist, settings=job.sheets, face_mm=job.part.face_mm)
        sizes.append(len(write_report(dataclasses.replace(result, sheets=sheets))))
    assert sizes[1] - sizes[0] < 59 * len(result.masks) * 250


def test_sheets_are_drawn_as_they_are_cut(result):
    """Each placed mask, drawn by another library, covers what the cut drawing covers."""
    sheet = result.sheets[0]
    views = SheetViews(result.sheets, result.masks, result.job.sheets)
    view = re.sub(r"<text.*?</text>", "", views.view(sheet, label="sheet"))
    stated = definitions(result.regions, result.simulation.predicted, result.masks)
    box = sheet.drawing
    head = f'<svg xmlns="http://www.w3.org/2000/svg" width="{box.width * 4}" height="{box.height * 4}"'
    drawn = view.replace("<svg", f"{head}", 1).replace('class="vinyl"', 'fill="#000"').replace("currentColor", "none")
    drawn = drawn.replace(">", f"><defs>{stated}</defs>", 1)
    pixels = np.asarray(Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=drawn)))))
    dark = (pixels[..., 3] > 127).sum() / 16  # 4 dots to a millimetre
    assert dark == pytest.approx(area_of(Area(box.pieces)), rel=0.01)


def test_outlines_keep_their_shape_on_the_grid():
    """A circle of 10 mm in relative hundredths, drawn by another library."""
    turns = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    ring = polygon_ring(np.column_stack([20 + 10 * np.cos(turns), 20 + 10 * np.sin(turns)]))
    for data in (outline_data([ring]), plain_data(Area((Piece(ring),)))):
        head = '<svg xmlns="http://www.w3.org/2000/svg" width="400" height="400" viewBox="0 0 40 40">'
        svg = f'{head}<path d="{data}"/></svg>'
        pixels = np.asarray(Image.open(io.BytesIO(bytes(resvg_py.svg_to_bytes(svg_string=svg)))))
        assert pixels[..., 3].sum() / 255 / 100 == pytest.approx(np.pi * 100, rel=1e-3)


def test_assumptions_stand_beside_the_figures(result, page):
    text = " ".join(" ".join(page.text).split())
    for line in WORDS.assumptions(result.estimate.assumptions):
        assert line in text
    assert f"{result.shelf.thickness_um:g} µm: {3 * result.shelf.thickness_um:g} min" in text
