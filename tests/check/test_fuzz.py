"""Mutated files crash nothing: they are judged, or refused with a reason. A short seeded run; longer ones by hand.

`python tests/check/test_fuzz.py MINUTES [SEED]` goes on for as long as told and prints what broke.
"""

import random
import sys
import time
from pathlib import Path

import pytest

from maskgen.check.cutfile import judge
from maskgen.check.mend import mend
from maskgen.check.settings import CheckSettings
from maskgen.errors import InputError
from maskgen.formats.cutfile import read_cutfile

SEEDS = sorted((Path(__file__).parent / "seeds").iterdir())
WORDS = [b"0", b"-1", b"1e9", b"nan", b"inf", b"1e-9", b"z", b"M", b"A", b"url(#a)", b'"', b"<g>", b"</g>", b"&", b"%",
         b"transform", b"PD", b"PU", b"LB", b"SC", b"\n0\n", b"VERTEX", b"10", b"70", b"\x00", b"\xff", b"e", b","]  # fmt: skip  # noqa: E501


def mutated(data, chance):
    data = bytearray(data)
    for _ in range(chance.choice([1, 1, 2, 4, 12])):
        k = chance.randrange(len(data) + 1)
        match chance.randrange(6):
            case 0:
                data[k : k + 1] = bytes([chance.randrange(256)])
            case 1:
                del data[k : k + chance.randrange(1, 30)]
            case 2:
                data[k:k] = chance.choice(WORDS)
            case 3:
                j = chance.randrange(len(data) + 1)
                data[k:k] = data[j : j + chance.randrange(1, 60)]
            case 4:
                del data[k:]
            case _:
                data[k : k + chance.randrange(1, 4)] = chance.choice(WORDS)
        if not data:
            break
    return bytes(data)


def survive(data, name):
    try:
        drawing = read_cutfile(data, name=name)
        judge(drawing, name=name, settings=CheckSettings())
        mend(drawing, name=name, settings=CheckSettings())
    except InputError as error:
        assert str(error)  # noqa: PT017


@pytest.mark.parametrize("seed", SEEDS, ids=lambda p: p.name)
@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_mutations_crash_nothing(seed):
    chance = random.Random(seed.name)
    data = seed.read_bytes()
    survive(data, seed.name)
    for _ in range(6):
        survive(mutated(data, chance), seed.name)


def run_for(minutes, number):
    chance = random.Random(number)
    end, count = time.monotonic() + 60 * minutes, 0
    while time.monotonic() < end:
        seed = chance.choice(SEEDS)
        data = mutated(seed.read_bytes(), chance)
        begin = time.monotonic()
        try:
            survive(data, seed.name)
        except Exception as error:
            Path(f"/tmp/fuzz-{count}-{seed.name}").write_bytes(data)
            print(f"{seed.name} {count}: {error!r}", flush=True)
        if time.monotonic() - begin > 10:
            Path(f"/tmp/fuzz-slow-{count}-{seed.name}").write_bytes(data)
            print(f"{seed.name} {count}: {time.monotonic() - begin:.0f} s", flush=True)
        count += 1
    print(f"{count} files")


if __name__ == "__main__":
    run_for(float(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
