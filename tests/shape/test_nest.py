"""Sheets: placements are carried out again with a general geometry library and everything measured there."""

import itertools
import math
from collections import Counter

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from maskgen.errors import InputError
from maskgen.geometry.polygons import from_polygons, to_multipolygon, to_polygon
from maskgen.model.job import Carrier, Resist, SheetSettings
from maskgen.model.masks import Mask
from maskgen.model.paths import Area, rectangle
from maskgen.shape.nest import Wanted, nest, nest_stages, used_share
from maskgen.shape.tiles import tiles

NOISE_MM = 1e-6


def star(x, y, radius, points=5):
    angle = np.arange(2 * points) * math.pi / points
    away = np.where(np.arange(2 * points) % 2, radius * 0.4, radius)
    return shapely.Polygon(np.column_stack([x + away * np.cos(angle), y + away * np.sin(angle)]))


def mask(number, *shapes):
    return Mask(f"M{number}", f"colour {number}", (f"r{number}",), from_polygons(shapely.union_all(shapes)))


def placed(masks, placement):
    """What a placement says, worked out with shapely: a quarter turn clockwise as seen (y down), then the shift."""
    area = next(m.area for m in masks if m.number == placement.mask)
    if placement.piece is not None:
        area = Area((area.pieces[placement.piece - 1],))
    shape = to_multipolygon(area)
    if placement.turned:
        shape = affinity.rotate(shape, 90, origin=(0, 0))  # from x towards y
    return affinity.translate(shape, *placement.shift)


def box(size):
    return st.builds(
        lambda w, h, x, y: shapely.box(x, y, x + w, y + h), size, size, st.floats(-5, 40), st.floats(-5, 40)
    )


lengths = st.floats(2, 45)
shapes = st.one_of(
    box(lengths),
    st.builds(star, st.floats(-5, 40), st.floats(-5, 40), st.floats(2, 20), st.integers(3, 7)),
    box(lengths).map(lambda b: b.buffer(1.5).difference(b.centroid.buffer(1))),
)
mask_lists = st.lists(st.lists(shapes, min_size=1, max_size=4), min_size=1, max_size=4).map(
    lambda found: [mask(n, *group) for n, group in enumerate(found, start=1)]
)
sheet_settings = st.builds(
    SheetSettings,
    margin_mm=st.sampled_from([0.0, 3.3, 10.0]),
    spacing_mm=st.sampled_from([0.0, 1.0, 3.0]),
    sheet_length_mm=st.sampled_from([200.0, 400.0]),
    weeding_frame=st.booleans(),
    relief_lines=st.booleans(),
    check_bar=st.booleans(),
)


@settings(max_examples=40, deadline=None)
@given(mask_lists, st.integers(1, 5), sheet_settings, st.sampled_from([200.0, 300.0]), st.sampled_from(Carrier))
def test_every_mask_is_there_apart_from_the_others(masks, quantity, how, width, carrier):
    sheets = nest(masks, quantity=quantity, resist=Resist(sheet_width_mm=width, carrier=carrier), settings=how)
    wanted = {
        (m.number, copy, piece): 1
        for m in masks
        for copy in range(1, quantity + 1)
        for piece in (range(1, len(m.area.pieces) + 1) if carrier is Carrier.LOOSE else [None])
    }
    assert Counter((p.mask, p.copy, p.piece) for s in sheets for p in s.placements) == wanted
    for sheet in sheets:
        drawing = sheet.drawing
        assert (drawing.left, drawing.top, drawing.width) == (0, 0, width)
        assert drawing.height <= how.sheet_length_mm + NOISE_MM
        groups = [placed(masks, p) for p in sheet.placements]
        usable = shapely.box(0, 0, width, drawing.height).buffer(NOISE_MM - how.margin_mm, join_style="mitre")
        pieces = [to_polygon(p) for p in drawing.pieces]
        assert all(usable.covers(piece) for piece in pieces)
        for one, other in itertools.combinations(groups, 2):
            assert one.distance(other) >= how.spacing_mm - NOISE_MM
        assert all(shapely.intersection(one, other).area < NOISE_MM for one, other in itertools.combinations(pieces, 2))
        everything, vinyl = shapely.union_all(pieces), shapely.union_all(groups)
        assert vinyl.difference(everything).area < 1e-3
        if not (how.weeding_frame or how.relief_lines or how.check_bar):
            assert everything.difference(vinyl).area < 1e-3


def plain_rows(sizes, width, spacing):
    """Length of film when masks are laid side by side, row by row, as they come."""
    used = row_left = row_height = 0.0
    for w, h in sizes:
        if row_left and row_left + w > width:
            used, row_left, row_height = used + row_height + spacing, 0.0, 0.0
        row_left, row_height = row_left + w + spacing, max(row_height, h)
    return used + row_height


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.floats(5, 120), st.floats(5, 60)), min_size=1, max_size=4), st.integers(1, 12))
def test_takes_no_more_film_than_plain_rows(sizes, quantity):
    masks = [mask(n, shapely.box(0, 0, w, h)) for n, (w, h) in enumerate(sizes, start=1)]
    how = SheetSettings(sheet_length_mm=5000.0)
    (sheet,) = nest(masks, quantity=quantity, resist=Resist(), settings=how)
    rows = plain_rows([size for size in sizes for _ in range(quantity)], 280.0, how.spacing_mm)
    assert sheet.drawing.height <= rows + 20.0 + 0.01


def test_stages_stand_in_order():
    masks = [mask(n, shapely.box(0, 0, 60, 30)) for n in (1, 2, 3)]
    sheets = nest(masks, quantity=40, resist=Resist(), settings=SheetSettings())
    assert [p.mask for s in sheets for p in s.placements] == ["M1"] * 40 + ["M2"] * 40 + ["M3"] * 40
    last = {}  # nothing of a later mask lies above the row where an earlier one still goes on
    for sheet in sheets:
        for placement in sheet.placements:
            last.setdefault((sheet.number, placement.mask), []).append(placement.shift[1])
    for (number, name), tops in last.items():
        later = [min(t) for (n, other), t in last.items() if n == number and other > name]
        assert all(top >= max(tops) - 33 for top in later)


def test_quarter_turns_are_used_where_they_save_film():
    # 150 wide leaves 130: one mask of 100 x 40 to a row lying, three standing
    sheets = nest(
        [mask(1, shapely.box(0, 0, 100, 40))],
        quantity=3,
        resist=Resist(sheet_width_mm=150.0),
        settings=SheetSettings(spacing_mm=2.0),
    )
    assert all(p.turned for p in sheets[0].placements)
    assert sheets[0].drawing.height == pytest.approx(120.0)


def test_share_used_of_a_sheet_filled_by_hand():
    # two squares of 40 side by side on 110 x 60 with a margin of 10
    sheets = nest(
        [mask(1, shapely.box(0, 0, 40, 40))],
        quantity=2,
        resist=Resist(sheet_width_mm=110.0),
        settings=SheetSettings(spacing_mm=10.0),
    )
    assert used_share(sheets) == pytest.approx(2 * 1600 / (110 * 60))
    assert used_share(()) == 0.0


def test_a_mask_too_large_is_refused_with_both_sizes():
    with pytest.raises(InputError, match=r"mask M1 is 310\.0 x 300\.0 mm, the sheet takes 280\.0 x 780\.0 mm"):
        nest([mask(1, shapely.box(0, 0, 310, 300))], quantity=1, resist=Resist(), settings=SheetSettings())


def test_a_mask_as_large_as_the_sheet_fits():
    size = 280.0 + 1e-9
    (sheet,) = nest([mask(1, shapely.box(0, 0, size, 50))], quantity=1, resist=Resist(), settings=SheetSettings())
    assert len(sheet.placements) == 1


def test_a_sheet_without_room_is_refused():
    with pytest.raises(InputError, match="leaves 0 x 780 mm"):
        nest([mask(1, star(0, 0, 3))], quantity=1, resist=Resist(sheet_width_mm=20.0), settings=SheetSettings())


def test_no_masks_no_sheets():
    empty = Mask("M1", "nothing", ("r1",), Area())
    assert nest([], quantity=3, resist=Resist(), settings=SheetSettings()) == ()
    assert nest([empty], quantity=3, resist=Resist(), settings=SheetSettings()) == ()


def test_tiles_lap_and_cover_the_mask():
    area = shapely.box(0, 0, 500, 300).difference(shapely.union_all([star(x, 150, 40) for x in (120, 250, 380)]))
    big = mask(1, area)
    resist = Resist(lap_mm=2.0)
    how = SheetSettings(tile=True, sheet_length_mm=300.0)
    sheets = nest([big], quantity=1, resist=resist, settings=how)
    back, parts = [], []
    for sheet in sheets:
        shapes = iter([to_polygon(p) for p in sheet.drawing.pieces])
        vinyl = shapely.union_all(list(shapes))
        for placement in sheet.placements:
            x, y = placement.shift
            home = affinity.translate(vinyl, -x, -y)
            parts.append(affinity.rotate(home, -90, origin=(0, 0)) if placement.turned else home)
            back.append(placement.tile)
    assert sorted(back) == list(range(1, len(back) + 1))
    assert len(back) == 4
    covered = shapely.union_all([t.intersection(area) for t in parts])
    assert covered.symmetric_difference(area).area < 1e-3
    twice = sum(t.intersection(area).area for t in parts) - area.area
    # two seams 2 mm wide cross the mask: 500 long and 300 long, less the stars in their way
    assert 0 < twice <= 2.0 * (500 + 300) + 4.0


def test_islands_on_a_seam_are_cut_once():
    island = shapely.box(99.0, 10.0, 100.5, 11.5)
    area = from_polygons(shapely.union_all([island, shapely.box(0, 20, 199, 30)]))
    parts = tiles(area, width_mm=101.0, height_mm=50.0, lap_mm=3.0)
    assert len(parts) == 2
    assert sum(to_multipolygon(part).contains(island.centroid) for part in parts) == 1


def test_crosses_keep_their_place_on_the_face():
    masks = [mask(1, star(10, 10, 6)), mask(2, shapely.box(-1, 15, 61, 31))]
    how = SheetSettings(crosses=True)
    (sheet,) = nest(masks, quantity=2, resist=Resist(), settings=how, face_mm=(60.0, 30.0))
    # 6 mm large and 3 mm away from face and masks, 0 to 31 high; at a quarter and three quarters of 60 mm
    wanted = {(x, y) for x in (15.0, 45.0) for y in (-6.0, 37.0)}
    found = []
    crosses = [to_polygon(p) for p in sheet.drawing.pieces if len(p.outer.segments) >= 12]
    for placement in sheet.placements:
        x, y = placement.shift
        home = [affinity.translate(c, -x, -y) for c in crosses]
        home = [affinity.rotate(c, -90, origin=(0, 0)) for c in home] if placement.turned else home
        centres = {(round(c.centroid.x, 3), round(c.centroid.y, 3)) for c in home}
        found.append(wanted <= centres)
    assert found == [True] * 4


def test_relief_lines_cross_the_whole_sheet_between_masks():
    masks = [mask(n, shapely.box(0, 0, 60, 55)) for n in (1, 2)]
    how = SheetSettings(relief_lines=True)
    (sheet,) = nest(masks, quantity=4, resist=Resist(), settings=how)
    strips = [to_polygon(p).bounds for p in sheet.drawing.pieces if to_polygon(p).bounds[0] == 10.0]
    strips = [b for b in strips if b[2] == 290.0]
    assert [pytest.approx(b, abs=1e-6) for b in strips] == [(10.0, 66.0, 290.0, 67.0)]


def test_frame_and_relief_are_one_piece_with_windows():
    masks = [mask(n, shapely.box(0, 0, 60, 55)) for n in (1, 2)]
    how = SheetSettings(relief_lines=True, weeding_frame=True)
    (sheet,) = nest(masks, quantity=4, resist=Resist(), settings=how)
    *_, frame = sheet.drawing.pieces  # cut last: everything lies inside it
    assert len(frame.holes) == 2
    assert to_polygon(frame).exterior.bounds == (10.0, 10.0, 290.0, sheet.drawing.height - 10.0)


def test_check_bar_is_fifty_millimetres_and_cut_first():
    (sheet,) = nest([mask(1, star(0, 0, 5))], quantity=1, resist=Resist(), settings=SheetSettings(check_bar=True))
    left, top, right, bottom = to_polygon(sheet.drawing.pieces[0]).bounds
    assert (right - left, bottom - top) == pytest.approx((50.0, 5.0))


def test_rows_of_a_name_list_share_sheets():
    first = [Wanted(mask(1, shapely.box(0, 0, 30 + k, 10)), copies=2, row=f"row {k}") for k in range(6)]
    second = [Wanted(mask(2, shapely.box(0, 0, 40, 12)), copies=2, row=f"row {k}") for k in range(6)]
    (sheet,) = nest_stages([first, second], resist=Resist(), settings=SheetSettings())
    assert Counter((p.mask, p.row) for p in sheet.placements) == {
        (m, f"row {k}"): 2 for m in ("M1", "M2") for k in range(6)
    }


def test_same_input_same_sheets():
    masks = [mask(1, star(0, 0, 9), star(30, 5, 4)), mask(2, shapely.box(-1, -1, 61, 31))]
    runs = [nest(masks, quantity=7, resist=Resist(), settings=SheetSettings(weeding_frame=True)) for _ in range(2)]
    assert runs[0] == runs[1]


def test_rectangles_of_the_model_are_pieces_too():
    area = Area((rectangle(0, 0, 10, 10),))
    (sheet,) = nest([Mask("M1", "sky", ("r1",), area)], quantity=1, resist=Resist(), settings=SheetSettings())
    assert (sheet.drawing.width, sheet.drawing.height) == (300.0, 30.0)
