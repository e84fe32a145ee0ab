"""Files with four known faults each, mended in their own format; ten times as many in `benchmarks.check_mending`."""

from benchmarks.check_mending import measure


def test_mended_files_pass_stay_as_they_are_and_keep_the_rest():
    counts, wrong = measure([1])
    assert counts.files == 6
    assert not wrong
    assert counts.gone == counts.again == counts.kept == counts.files
