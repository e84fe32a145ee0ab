"""The one boundary at which failures become a line and a status."""

import pytest


@pytest.mark.parametrize(
    ("failure", "said"),
    [
        (ZeroDivisionError("by\nnothing"), "ZeroDivisionError: by nothing"),
        (MemoryError(), "memory"),
        (OSError(28, "No space left"), "No space left"),
    ],
)
def test_an_unexpected_failure_is_one_line_and_never_looks_like_a_finding(maskgen, monkeypatch, failure, said):
    def fail(*arguments, **options):
        raise failure

    monkeypatch.setattr("maskgen.formats.shelf.read_shelf", fail)
    monkeypatch.setattr("maskgen.cli.load.read_shelf", fail)
    ended = maskgen("dyes", "samples/shelf.toml")
    assert ended.status == 2
    assert ended.out == ""
    assert said in ended.err
    assert ended.err.count("\n") == 1


def test_options_are_told_where_the_call_is_wrong(maskgen):
    ended = maskgen("convert", "--no-such-thing")
    assert ended.status == 2
    assert "maskgen convert --help" in ended.err
