"""The report, the bench sheet and the proof: complete, self-contained, the same for the same job."""

import re
from html.parser import HTMLParser

import pytest

from maskgen.model.dyeing import DyeBath
from maskgen.report.bench import write_bench_sheet
from maskgen.report.page import write_report
from maskgen.report.proof_pdf import write_proof_pdf
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


def test_the_same_job_gives_the_same_papers(result):
    for write in (write_report, write_bench_sheet, write_proof, write_proof_pdf):
        assert write(result) == write(result)


def test_no_number_stands_without_its_unit(page):
    """In the figures of the page a bare number is a count; everything measured has its unit."""
    text = " ".join(page.text)
    assert not re.search(r"\d\.\d+ (?!mm|cm|m\b|min|EUR|%|µm|°C)", text.split("Step by step")[0])
