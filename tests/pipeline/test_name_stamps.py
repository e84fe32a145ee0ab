"""Rows put together from letters worked out once, against the same rows worked out as whole parts."""

from pathlib import Path

import fontpkg
import pytest
import shapely

from maskgen.formats.jobfile import read_job
from maskgen.formats.shelf import read_shelf
from maskgen.formats.svg_cut_read import read_cut
from maskgen.geometry.polygons import to_multipolygon
from maskgen.model.names import NameRow, RowStatus
from maskgen.pipeline.name_face import drawn_whole
from maskgen.pipeline.name_job import Template
from maskgen.pipeline.names import NameMaker

SHELF = Path(__file__).parents[2] / "samples" / "shelf.toml"
JOB = """
[part]
{part}
[text]
font = "{font}"
height_mm = 12.0
box_mm = [50.0, 24.0]
letter_gap_mm = 1.0
colour = "letters"
[[colour]]
source = "#1b3f94"
name = "letters"
{letters}
[ground]
{ground}
{more}
"""
PLATE, TUBE = "width_mm = 60.0\nheight_mm = 30.0", 'shape = "tube"\ndiameter_mm = 40.0\nlength_mm = 60.0'
DISC = 'shape = "disc"\ndiameter_mm = 70.0'
BARE, BLUE, RUST = "bare = true", 'dye = "sea blue"', 'dye = "rust red"'


def maker_of(part, letters, ground, more="", font="Archivo Black"):
    text = JOB.format(part=part, letters=letters, ground=ground, more=more, font=font)
    shelf = read_shelf(SHELF.read_bytes(), name="shelf")
    return NameMaker(Template(read_job(text.encode(), name="job"), shelf, fontpkg.path(font).read_bytes()))


def vinyl(masks):
    """Give the film of every mask, read from its path data."""
    areas = [[read_cut(f'<path d="{data}"/>'.encode()) for data in mask.paths] for mask in masks]
    return [shapely.union_all([to_multipolygon(area) for area in mask]) for mask in areas]


STENCIL = '[resist]\ncarrier = "stencil"\nislands = "bridge"'
MIDDLE_HOLE = "[[hole]]\nat_mm = [30.0, 15.0]\ndiameter_mm = 2.0"


@pytest.mark.parametrize(
    ("part", "letters", "ground", "more"),
    [
        (PLATE, BARE, BLUE, ""),
        (TUBE, BLUE, BARE, ""),
        (DISC, BARE, RUST, '[resist]\ncarrier = "loose"'),
        (PLATE, BLUE, RUST, "[[hole]]\nat_mm = [3.0, 3.0]\ndiameter_mm = 2.0"),
    ],
)
def test_the_same_film_findings_and_figures_as_the_whole_part(part, letters, ground, more):
    maker = maker_of(part, letters, ground, more)
    row = NameRow(1, "LEO")
    maker.prepare([row])
    made, whole = maker.make(row), maker.whole(row)
    assert made.drawn is not None
    assert made.drawn.over_blank, "worked out as a whole: nothing is compared"
    again = drawn_whole(whole.regions, whole.finished.masks, whole.finished.simulation, whole.findings)
    for ours, theirs in zip(vinyl(made.drawn.masks), vinyl(again.masks), strict=True):
        # A tenth of a micrometre along every outline is what rounding may do.
        assert ours.symmetric_difference(theirs).area < 2e-4 * theirs.length
    kinds = [(f.code, f.mask, round(f.value or 0.0, 2)) for f in again.findings]
    assert sorted((f.code, f.mask, round(f.value or 0.0, 2)) for f in made.drawn.findings) == sorted(kinds)
    assert made.drawn.sizes == pytest.approx(again.sizes, abs=0.01)
    assert made.drawn.figures["wrong_mm2"] == pytest.approx(again.figures["wrong_mm2"], abs=0.02)
    assert made.drawn.figures["edge_max_mm"] == pytest.approx(again.figures["edge_max_mm"], abs=0.01)


def test_what_was_made_before_changes_nothing():
    rows = [NameRow(1, "LEO"), NameRow(2, "OLE"), NameRow(3, "L")]
    first, second = maker_of(PLATE, BARE, BLUE), maker_of(PLATE, BARE, BLUE)
    first.prepare(rows)
    second.prepare(rows)
    assert [first.make(row) for row in rows] == [second.make(row) for row in rows[::-1]][::-1]


@pytest.mark.parametrize("more", [STENCIL, MIDDLE_HOLE])
def test_a_stencil_and_letters_over_a_hole_are_worked_out_as_a_whole(more):
    maker = maker_of(PLATE, BARE, BLUE, more)
    row = NameRow(1, "LEO")
    maker.prepare([row])
    made = maker.make(row)
    assert made.drawn is None or not made.drawn.over_blank
    assert made.status in (RowStatus.WARNED, RowStatus.MADE, RowStatus.REFUSED)
    if more == MIDDLE_HOLE:
        assert "over a hole" in made.reason
