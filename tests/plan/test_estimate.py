"""Time and money added up by hand."""

import dataclasses

import pytest

from maskgen.model.dyeing import ApplyMask, Dye, DyeBath, Plan, Seal, Sequence, Shelf, Strip, Swatch
from maskgen.model.job import Carrier, Job, Part, Rates, Resist, Shape
from maskgen.model.masks import CutDrawing, Mask, Sheet
from maskgen.model.paths import Area, rectangle
from maskgen.plan.estimate import estimate, seal_minutes

SHELF = Shelf("#c9cccf", 20.0, (Dye("lemon", (Swatch(5.0, "#e3c530"),)), Dye("blue", (Swatch(4.0, "#2b4a8f"),))))
STEPS = (DyeBath("lemon", 5.0), ApplyMask("M1", ("r1",)), Strip(), DyeBath("blue", 4.0), Seal())
PLAN = Plan((), Sequence(STEPS), True, 1)
PIECES = (rectangle(0, 0, 10, 10), rectangle(20, 0, 30, 10))
MASK = Mask("M1", "star", ("r1",), Area(PIECES))
SHEET = Sheet(1, CutDrawing(0, 0, 300, 100, PIECES), ())
JOB = Job(
    part=Part(Shape.PLATE, width_mm=60.0, height_mm=30.0),
    quantity=10,
    rates=Rates("EUR", hour=30.0, film_m2=12.0, setup=15.0, bath=1.5),
)


def figures(job=JOB):
    return estimate(job, plan=PLAN, shelf=SHELF, masks=[MASK], sheets=[SHEET])


def test_the_seal_takes_three_minutes_a_micrometre():
    """3 min per µm in hot water (alufinish.de, on hot sealing): 20 µm, 60 min."""
    assert seal_minutes(SHELF) == 60.0


def test_material_is_what_lies_on_the_sheets():
    found = figures()
    assert found.film_mm2 == 30_000
    assert found.cut_length_mm == pytest.approx(80.0)
    assert found.pieces == 20


def test_times_add_up():
    found = figures()
    assert found.bath_minutes == 5 + 4 + 3 + 60  # two dyes, one strip, the seal
    assert found.hand_minutes == pytest.approx(20 * 0.4 + 10 * 2.5 + 30 + 4 * 2)  # weeding, masks, set-up, rinses
    assert found.elapsed_minutes == pytest.approx(found.bath_minutes + found.hand_minutes)


def test_the_price_keeps_what_the_lot_costs_apart():
    found = figures()
    assert found.setup_price == pytest.approx(15 + 4 * 1.5 + 30 * (30 + 8) / 60)  # 40.00
    assert found.piece_price == pytest.approx(30 * 33 / 60 / 10 + 12 * 0.03 / 10, abs=0.005)  # 1.69
    assert found.total_price == pytest.approx(found.setup_price + 10 * found.piece_price)


def test_each_part_costs_the_same_whatever_the_quantity():
    sheet = dataclasses.replace(SHEET, drawing=dataclasses.replace(SHEET.drawing, height=10.0))
    one = estimate(dataclasses.replace(JOB, quantity=1), plan=PLAN, shelf=SHELF, masks=[MASK], sheets=[sheet])
    assert one.piece_price == figures().piece_price
    assert one.setup_price == figures().setup_price


def test_loose_pieces_take_longer_and_no_rates_give_no_price():
    loose = figures(dataclasses.replace(JOB, rates=None, resist=Resist(carrier=Carrier.LOOSE)))
    assert loose.hand_minutes == pytest.approx(figures().hand_minutes + 20 * 0.5)
    assert loose.total_price is None
