"""What a DXF holds that was not understood is told with its place, y down, inside a block too."""

import io

import ezdxf
import pytest

from maskgen.check.cutfile import judge
from maskgen.check.settings import CheckSettings
from maskgen.formats.cutfile import read_cutfile
from maskgen.model.finding import Code


def told(document):
    text = io.StringIO()
    document.write(text)
    drawing = read_cutfile(text.getvalue().encode(), name="plate.dxf")
    found = judge(drawing, name="plate.dxf", settings=CheckSettings()).judgement.findings
    return [finding.at_mm for finding in found if finding.code is Code.UNREAD]


@pytest.fixture
def document():
    """A square of 20 mm whose lower left corner is at 5, 5, y up: its top is at 25."""
    document = ezdxf.new("R2010", units=4)
    document.modelspace().add_lwpolyline([(5, 5), (25, 5), (25, 25), (5, 25)], close=True, dxfattribs={"layer": "CUT"})
    return document


def test_a_construction_line_has_the_place_it_starts_from(document):
    document.modelspace().add_ray((12, 7), (1, 0))
    (at,) = told(document)
    assert at == pytest.approx((12, -7))


def test_inside_a_block_the_place_is_that_of_the_block_as_inserted(document):
    block = document.blocks.new("MARK")
    block.add_ray((1, 2), (1, 0))
    document.modelspace().add_blockref("MARK", (10, 10), dxfattribs={"xscale": 2, "yscale": 2})
    (at,) = told(document)
    assert at == pytest.approx((12, -14))


def test_a_reference_to_a_missing_block_is_told(document):
    """The library drops it while it reads, with its place: before, nothing was said of it."""
    document.modelspace().add_blockref("GONE", (8, 9))
    assert told(document) == [None]


def test_a_sound_file_has_nothing_unread(document):
    document.modelspace().add_circle((15, 15), 4)
    assert told(document) == []
