"""`findings.json`: the fixed keys, severities that decide the verdict, the same bytes every time."""

import json

import pytest

from maskgen.formats.findings_json import write_findings
from maskgen.model.finding import Code, Finding, Severity
from maskgen.model.judgement import Judgement


def judgement(*findings):
    return Judgement("a.svg", "mm", (60.0, 30.00004), 14, 812.5, 420, findings)


THIN = Finding(Code.THIN_LAND, Severity.WARNING, "thin", "thicken", (12.3, -0.00001), "M1", 3, 0.42, 0.8)
OPEN = Finding(Code.OPEN_PATH, Severity.ERROR, "open", "close")


def test_the_documented_form():
    document = json.loads(write_findings(judgement(THIN)))
    assert document["file"] == "a.svg"
    assert document["verdict"] == "pass"
    assert document["size_mm"] == [60.0, 30.0]
    assert (document["pieces"], document["cut_length_mm"], document["nodes"]) == (14, 812.5, 420)
    assert document["findings"] == [
        {"code": "thin-land", "severity": "warning", "at_mm": [12.3, 0.0], "mask": "M1", "piece": 3, "value": 0.42,
         "limit": 0.8, "message": "thin", "mend": "thicken"}
    ]  # fmt: skip


def test_an_error_fails_and_several_make_a_list():
    documents = json.loads(write_findings([judgement(THIN), judgement(THIN, OPEN)]))
    assert [d["verdict"] for d in documents] == ["pass", "fail"]
    assert documents[1]["findings"][1]["at_mm"] is None


def test_never_a_number_json_does_not_know():
    with pytest.raises(ValueError, match="JSON"):
        write_findings(judgement(Finding(Code.THIN_LAND, Severity.NOTE, "", "", value=float("nan"))))


def test_more_keys_and_the_same_bytes():
    first = write_findings(judgement(THIN), against={"same": True})
    assert first == write_findings(judgement(THIN), against={"same": True})
    assert json.loads(first)["against"] == {"same": True}
