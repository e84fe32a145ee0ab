import hashlib
import io
import subprocess
import zipfile

import pytest

from maskgen.formats.parcel import Order, order_note, write_parcel
from maskgen.model.masks import CutDrawing, Sheet
from maskgen.model.paths import rectangle

SHEETS = tuple(
    Sheet(n, CutDrawing(0, 0, 300, 100.04 * n, tuple(rectangle(k, 1, k + 0.5, 2) for k in range(n + 1))), ())
    for n in (1, 2)
)
ORDER = Order("Larkmoor Sky Society, finder ring", 40, "mask film, 300 mm wide", SHEETS, (2, 3), 50.0, mirrored=True)
FILES = {"sheet-02.svg": b"<svg/>", "sheet-01.svg": b"<svg>1</svg>", "sheet-01.plt": b"IN;SP1;PU;"}


def test_unpacks_to_files_that_match_their_checksums(tmp_path):
    zipfile.ZipFile(io.BytesIO(write_parcel(FILES, ORDER))).extractall(tmp_path)
    assert {p.name for p in tmp_path.iterdir()} == {*FILES, "order-note.txt", "SHA256SUMS.txt"}
    for name, data in FILES.items():
        assert (tmp_path / name).read_bytes() == data
    listed = dict(reversed(line.split("  ")) for line in (tmp_path / "SHA256SUMS.txt").read_text().splitlines())
    assert set(listed) == {*FILES, "order-note.txt"}
    assert all(hashlib.sha256((tmp_path / name).read_bytes()).hexdigest() == digest for name, digest in listed.items())


def test_checksum_list_is_the_usual_kind(tmp_path):
    zipfile.ZipFile(io.BytesIO(write_parcel(FILES, ORDER))).extractall(tmp_path)
    checked = subprocess.run(["sha256sum", "--check", "--strict", "SHA256SUMS.txt"], cwd=tmp_path, capture_output=True)
    assert checked.returncode == 0, checked.stderr


def test_same_bytes_whatever_the_order_of_files():
    assert write_parcel(FILES, ORDER) == write_parcel(dict(reversed(FILES.items())), ORDER)


def test_note_says_what_the_service_must_know():
    note = order_note(ORDER, sorted(FILES))
    for words in (
        "Larkmoor Sky Society, finder ring",
        "for 40 parts",
        "mask film, 300 mm wide",
        "no backing panel",
        "Do not resize",
        "must measure 50 mm",
        "mirrored on purpose",
        "Sheets: 2, 5 pieces in all",
        "sheet 2: 300.0 x 200.1 mm, 3 pieces",
        "sheet-01.plt",
    ):
        assert words in note
    assert max(map(len, note.splitlines())) <= 88
    assert len(note.splitlines()) <= 60  # one printed page


def test_note_leaves_out_what_is_not_there():
    note = order_note(Order("", 1, "film", SHEETS, (2, 3)), [])
    assert "measure" not in note
    assert "mirrored" not in note
    assert "for 1 part;" in note


@pytest.mark.parametrize("name", ["../x.svg", "/x.svg", "a/../b.svg", "a\\b.svg", "order-note.txt", "SHA256SUMS.txt"])
def test_names_that_lead_elsewhere_are_refused(name):
    with pytest.raises(ValueError, match="no name for a file"):
        write_parcel({name: b""}, ORDER)
