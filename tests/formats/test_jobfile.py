"""The job file is read strictly: every key, every refusal, and written so that it reads back the same."""

import dataclasses

import pytest

from maskgen.errors import InputError
from maskgen.formats.jobfile import read_job, write_job
from maskgen.model.job import Carrier, Dose, IslandRule, Permission, Shape

FULL = """
title = "Finder ring"
quantity = 12
shelf = "shelf.toml"
companions = ["end cap"]

[part]
shape = "plate"
width_mm = 60
height_mm = 30.0

[artwork]
file = "logo.png"
width_mm = 40.0
at_mm = [10.0, 5.0]
colours = "auto"

[[colour]]
source = "#1b3f94"
name = "sky"
recipe = [ { dye = "sea blue", minutes = 4.0 } ]

[ground]
bare = true

[finish]
overdye = "never"

[resist]
creep_mm = 0.12
carrier = "loose"

[[island]]
at_mm = [31.2, 8.0]
choice = "drop"

[[hole]]
at_mm = [4.0, 4.0]
diameter_mm = 3.2

[rates]
hour = 30.0
"""


def test_every_section_is_read():
    job = read_job(FULL.encode(), name="job.toml")
    assert job.part.shape is Shape.PLATE
    assert job.part.face_mm == (60.0, 30.0)
    assert job.part.keepout_mm == 1.0
    assert job.colour[0].recipe == (Dose("sea blue", 4.0),)
    assert job.finish.overdye is Permission.NEVER
    assert job.resist.creep_mm == 0.12
    assert job.resist.lap_mm == 0.5
    assert job.resist.carrier is Carrier.LOOSE
    assert job.island[0].choice is IslandRule.DROP
    assert job.hole[0].diameter_mm == 3.2
    assert job.rates.hour == 30.0


def test_a_written_job_reads_back_the_same():
    job = read_job(FULL.encode(), name="job.toml")
    assert read_job(write_job(job), name="again") == job


def test_a_byte_order_mark_is_no_fault():
    assert read_job(b"\xef\xbb\xbf" + FULL.encode(), name="job.toml").quantity == 12


def test_a_tube_is_developed_to_its_circumference():
    text = FULL.replace(
        'shape = "plate"\nwidth_mm = 60\nheight_mm = 30.0', 'shape = "tube"\ndiameter_mm = 25\nlength_mm = 80'
    )
    width, height = read_job(text.encode(), name="job.toml").part.face_mm
    assert width == pytest.approx(78.5398, abs=1e-4)  # 25 pi
    assert height == 80.0


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("creep_mm", "crep_mm", ["job.toml: resist", "`crep_mm`", "did you mean `creep_mm`"]),
        ("[finish]", "[finnish]", ["`finnish`", "did you mean `finish`"]),
        ("quantity = 12", "quantity = 0", ["quantity", "above 0"]),
        ("quantity = 12", "quantity = 1.5", ["quantity", "1.5", "whole number"]),
        ("quantity = 12", 'quantity = "12"', ["quantity", "'12'", "whole number"]),
        ("quantity = 12", "quantity = true", ["quantity", "`true`"]),
        ("width_mm = 60", "width_mm = -60", ["part.width_mm", "-60", "above 0"]),
        ("width_mm = 60", "", ["plate needs `width_mm`"]),
        ('name = "sky"', 'name = "ground"', ["colour[1].name", "named `ground`", "another name"]),
        ("width_mm = 60", "width_mm = 60\ndiameter_mm = 3", ["`diameter_mm` means nothing for a plate"]),
        ("width_mm = 60", "width_mm = 1e9", ["part.width_mm", "10000 mm"]),
        ('"plate"', '"plat"', ["part.shape", "plate, tube, disc"]),
        ('"#1b3f94"', '"blue"', ["colour[1].source", "'blue'", "#rrggbb"]),
        ("minutes = 4.0", "minutes = 0.0", ["colour[1].recipe[1].minutes", "above 0"]),
        ("minutes = 4.0 }", 'minutes = 4.0 }, { dye = "sea blue", minutes = 1 }', ["`sea blue`", "twice"]),
        ('name = "sky"', 'name = "sky"\ndye = "sea blue"', ["dye and recipe", "only one"]),
        ("bare = true", 'colour = "skye"', ["ground.colour", "`skye`", "did you mean `sky`"]),
        ("bare = true", 'bare = true\ndye = "x"', ["ground", "dye and bare"]),
        ("at_mm = [10.0, 5.0]", "at_mm = [10.0]", ["artwork.at_mm", "2 of them"]),
        ("at_mm = [10.0, 5.0]", "at_mm = [nan, 5.0]", ["artwork.at_mm", "finite"]),
        ('colours = "auto"', 'colours = "some"', ["artwork.colours", '"auto"']),
        ('colours = "auto"', "colours = 0", ["artwork.colours", "from 1"]),
        ("hour = 30.0", "hour = -1", ["rates.hour", "0 or more"]),
        ('file = "logo.png"', "", ["artwork", "`file` is missing"]),
        ("[part]", "[part", ["TOML"]),
    ],
)
def test_a_fault_is_refused_in_words(old, new, words):
    assert old in FULL
    with pytest.raises(InputError) as refusal:
        read_job(FULL.replace(old, new, 1).encode(), name="job.toml")
    message = str(refusal.value)
    assert message.startswith("job.toml")
    assert "\n" not in message
    for word in words:
        assert word in message


def test_an_empty_job_is_refused():
    with pytest.raises(InputError, match="neither artwork nor colours"):
        read_job(b"title = 'x'", name="job.toml")


def test_the_keys_of_a_job_are_its_fields():
    """A value changed in the record comes back changed: nothing is dropped on the way through the file."""
    job = read_job(FULL.encode(), name="job.toml")
    other = dataclasses.replace(job, resist=dataclasses.replace(job.resist, creep_mm=0.07), quantity=3)
    again = read_job(write_job(other), name="job.toml")
    assert (again.resist.creep_mm, again.quantity) == (0.07, 3)
