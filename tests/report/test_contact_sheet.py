"""The contact sheet of a name list: every name once, in true proportion, nothing of the workshop."""

import dataclasses
import io
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader
from svgelements import Path

from maskgen.formats.path_forms import Sketch
from maskgen.model.job import Job, Paper, Part, Shape
from maskgen.report.contact_sheet import operators, write_contact_sheet
from maskgen.report.names_page import NamePicture

JOB = Job(title="Larkmoor Sky Society, name plates", part=Part(Shape.PLATE, width_mm=60.0, height_mm=30.0))
LETTER = Sketch((10.0, 10.0), "l5 0 0 5zm1 1c1 0 2 1 2 2l-1 0z")


def sheet(count, job=JOB, text="Orla"):
    names = [NamePicture(n, f"{text} {n}", 1 + n % 2, "sky", (("#e3c530", LETTER),)) for n in range(1, count + 1)]
    blanks = {"sky": (("#1f4294", "M0 0L60 0L60 30L0 30Z"),)}
    return PdfReader(io.BytesIO(write_contact_sheet(job, blanks=blanks, pictures=names)))


@pytest.mark.parametrize("paper", list(Paper))
def test_every_name_stands_once_and_nothing_of_the_workshop(paper):
    reader = sheet(70, dataclasses.replace(JOB, paper=paper))
    text = " ".join(" ".join(page.extract_text() for page in reader.pages).split())
    for number in range(1, 71):
        assert f"{number} Orla {number}" in text
    assert "Predicted colours; dyed metal varies." in text
    assert "mask" not in text.lower()
    assert len(reader.pages) > 1


@pytest.mark.parametrize("made", [0, 3, 39, 40, 41])
def test_names_that_are_missing_are_told_with_their_reason(made):
    names = [NamePicture(n, f"Orla {n}", 1, "", ()) for n in range(1, made + 1)]
    missing = [f"{n}  Bartholomew {n}: the thinnest stroke would be 0.20 mm, " + "and on " * 30 for n in range(50)]
    pages = PdfReader(io.BytesIO(write_contact_sheet(JOB, blanks={}, pictures=names, not_made=missing))).pages
    texts = [" ".join(page.extract_text().split()) for page in pages]
    whole = " ".join(texts)
    assert whole.count("Not shown, because they cannot be made") == 1
    assert all(whole.count(f"Bartholomew {n}: the thinnest stroke would be 0.20 mm") == 1 for n in range(50))
    head = next(text for text in texts if "Not shown" in text)
    assert "Bartholomew 0:" in head
    lowest = [float(height) for page in pages for height in re.findall(r"[\d.]+ ([\d.]+) Tm", content(page))]
    assert min(lowest) > 20.0  # points: nothing runs off the page


def content(page):
    return page.get_contents().get_data().decode("latin-1")


def test_names_of_other_scripts_are_found():
    assert "星空" in "".join(page.extract_text() for page in sheet(3, text="星空").pages)


def test_no_name_is_still_a_page():
    assert len(sheet(0).pages) == 1


def places(text):
    """Give the ends of all runs of a PDF path."""
    ends, numbers, start = [], [], None
    for token in text.split():
        if token in "mlch":
            point = start if token == "h" else tuple(numbers[-2:])
            start = point if token == "m" else start
            ends.append(point)
            numbers = []
        else:
            numbers.append(float(token))
    return ends


whole = st.integers(-300, 300).map(lambda n: n / 4)
run = st.one_of(
    st.tuples(st.sampled_from("lL"), st.tuples(whole, whole)),
    st.tuples(st.sampled_from("cC"), st.tuples(whole, whole, whole, whole, whole, whole)),
)
ring = st.tuples(st.tuples(whole, whole), st.lists(run, min_size=1, max_size=5))


@given(st.lists(ring, min_size=1, max_size=3))
def test_steps_end_where_another_library_ends(rings):
    data = ""
    for number, ((x, y), runs) in enumerate(rings):
        data += f"{'M' if number == 0 else 'm'}{x:g} {y:g}"
        data += "".join(word + " ".join(f"{v:g}" for v in numbers) for word, numbers in runs) + "z"
    expected = [(segment.end.x, segment.end.y) for segment in Path(data)]
    found = places(operators(data))
    assert len(found) == len(expected)
    for mine, theirs in zip(found, expected, strict=True):
        assert mine == pytest.approx(theirs, abs=0.02)


def test_an_outline_that_comes_again_is_kept_once_and_put_where_each_stands():
    """Read back by pypdf: the form's own path, moved by what the page says, is the outline as it was given."""
    count = 6
    reader = sheet(count)
    page = reader.pages[0]
    forms = {
        name: form.get_object().get_data().decode("latin-1")
        for name, form in page["/Resources"]["/XObject"].items()
        if " c\n" in form.get_object().get_data().decode("latin-1")
    }
    assert len(forms) == 1
    ((name, code),) = forms.items()
    content = page.get_contents().get_data().decode("latin-1")
    shifts = re.findall(rf"1 0 0 1 (\S+) (\S+) cm\s+{name} Do", content)
    assert len(shifts) == count
    expected = [(segment.end.x, segment.end.y) for segment in Path(LETTER.data)]
    path = re.search(r"[^\n]* m\n.*h", code, re.DOTALL)[0]
    for x, y in shifts:
        moved = [(px + float(x), py + float(y)) for px, py in places(path)]
        for mine, theirs in zip(moved, expected, strict=True):
            assert mine == pytest.approx(theirs, abs=0.02)
