"""Folders appear whole or not at all, and nothing of somebody else's is lost."""

import pytest

from maskgen.errors import InputError
from maskgen.formats.folder import check_folder, load, save, save_folder


def ours(name):
    return name.endswith(".toml") or name.startswith("masks/")


def listing(path):
    return sorted(p.relative_to(path).as_posix() for p in path.rglob("*"))


def test_a_folder_is_written_with_its_subfolders(tmp_path):
    save_folder(tmp_path / "a" / "job", {"job.toml": b"x", "masks/01.svg": b"y"})
    assert listing(tmp_path) == ["a", "a/job", "a/job/job.toml", "a/job/masks", "a/job/masks/01.svg"]
    assert (tmp_path / "a/job/masks/01.svg").read_bytes() == b"y"


def test_an_older_folder_is_replaced_as_a_whole(tmp_path):
    save_folder(tmp_path / "job", {"job.toml": b"old", "masks/01.svg": b"old"})
    check_folder(tmp_path / "job", ours=ours)
    save_folder(tmp_path / "job", {"job.toml": b"new"})
    assert listing(tmp_path) == ["job", "job/job.toml"]


def test_a_folder_with_other_files_is_refused(tmp_path):
    (tmp_path / "job").mkdir()
    (tmp_path / "job" / "holiday.jpg").write_bytes(b"")
    with pytest.raises(InputError, match=r"holiday\.jpg"):
        check_folder(tmp_path / "job", ours=ours)


def test_a_failure_half_way_leaves_the_old_folder_and_nothing_else(tmp_path):
    save_folder(tmp_path / "job", {"job.toml": b"old"})
    with pytest.raises(InputError, match="cannot be written"):
        save_folder(tmp_path / "job", {"job.toml": b"new", "job.toml/under": b"impossible"})
    assert listing(tmp_path) == ["job", "job/job.toml"]
    assert (tmp_path / "job/job.toml").read_bytes() == b"old"


def test_a_file_in_the_way_is_refused(tmp_path):
    (tmp_path / "job").write_bytes(b"")
    with pytest.raises(InputError, match="is a file"):
        check_folder(tmp_path / "job", ours=ours)


def test_saving_a_file_replaces_it_whole(tmp_path):
    save(tmp_path / "a.svg", b"1")
    save(tmp_path / "a.svg", b"2")
    assert listing(tmp_path) == ["a.svg"]
    with pytest.raises(InputError, match="cannot be written"):
        save(tmp_path / "none" / "a.svg", b"3")


@pytest.mark.parametrize(("name", "words"), [("none.png", "no such picture"), (".", "is a folder"), ("a\0b", "cannot")])
def test_what_cannot_be_read_is_named(tmp_path, name, words):
    with pytest.raises(InputError, match=words):
        load(tmp_path / name, what="picture")
