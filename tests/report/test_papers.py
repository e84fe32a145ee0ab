"""The report, the bench sheet and the proof: complete, self-contained, the same for the same job."""

import dataclasses
import io
import re
from html.parser import HTMLParser

import numpy as np
import pytest
from PIL import Image
from pypdf import PdfReader

from maskgen.model.dyeing import DyeBath
from maskgen.model.job import Paper, Peel
from maskgen.report.bench import write_bench_sheet
from maskgen.report.face_picture import draw_face
from maskgen.report.page import write_report
from maskgen.report.proof_png import write_proof
from maskgen.report.words import WORDS

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


@pytest.mark.parametrize(("paper", "size"), [(Paper.A4, (595.28, 841.89)), (Paper.LETTER, (612.0, 792.0))])
def test_the_bench_sheet_has_every_step_on_either_paper(result, paper, size):
    """ISO 216 A4 is 210 x 297 mm, Letter 8.5 x 11 in; a point is 1/72 in."""
    job = dataclasses.replace(result.job, paper=paper)
    reader = PdfReader(io.BytesIO(write_bench_sheet(dataclasses.replace(result, job=job))))
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(size, abs=0.01)
    text = " ".join(" ".join(p.extract_text() for p in reader.pages).split())
    names = {region.key: region.name for region in result.plan.regions}
    for number, step in enumerate(result.plan.sequence.steps, start=1):
        assert f"{number}. {WORDS.step(step, names)}" in text
    assert text.count("done:") == len(result.plan.sequence.steps)
    assert "together with: end cap" in text
    assert "chlorine" in text
    assert f"{3 * result.shelf.thickness_um:g} min at 96" in text
    fonts = reader.pages[0]["/Resources"]["/Font"]
    embedded = [f for f in fonts.values() if "/FontFile2" in str(f.get_object().get("/FontDescriptor", {}))]
    assert embedded or any("/DescendantFonts" in f.get_object() for f in fonts.values())


def test_a_seal_in_two_parts_says_when_to_peel(result):
    finish = dataclasses.replace(result.job.finish, peel=Peel.BETWEEN_SEALS)
    job = dataclasses.replace(result.job, finish=finish)
    reader = PdfReader(io.BytesIO(write_bench_sheet(dataclasses.replace(result, job=job))))
    text = " ".join(" ".join(p.extract_text() for p in reader.pages).split())
    half = 3 * result.shelf.thickness_um / 2
    assert f"{half:g} min, peel all film, then {half:g} min" in text


def test_the_proof_shows_the_predicted_colours_in_true_proportion(result):
    face = draw_face(result.simulation.predicted, width_px=600)
    assert face.shape == (300, 600, 3)
    names = {region.name: region for region in result.plan.regions}
    for name, (x_mm, y_mm) in {"disc": (17.5, 15.0), "band": (40.0, 15.0), "ground": (2.0, 2.0)}.items():
        pixel = face[int(y_mm * 10), int(x_mm * 10)]
        assert "#{:02x}{:02x}{:02x}".format(*pixel) == names[name].predicted
    disc = np.all(face == face[150, 175], axis=2).sum() / 100
    assert disc == pytest.approx(np.pi / 4 * (44 * 50 / 120) ** 2, rel=0.02)  # mm2: 44 of 120 px across, 50 mm wide
    assert Image.open(io.BytesIO(write_proof(result))).format == "PNG"


def test_the_same_job_gives_the_same_papers(result):
    for write in (write_report, write_bench_sheet, write_proof):
        assert write(result) == write(result)


def test_no_number_stands_without_its_unit(page):
    """In the figures of the page a bare number is a count; everything measured has its unit."""
    text = " ".join(page.text)
    assert not re.search(r"\d\.\d+ (?!mm|cm|m\b|min|EUR|%|µm|°C)", text.split("Step by step")[0])
