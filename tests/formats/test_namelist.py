"""Lists as clubs send them: every delimiter, every spreadsheet's habits, every accident."""

import csv
import datetime
import io
import zipfile

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from maskgen.errors import InputError
from maskgen.formats.manifest import harmless, write_manifest
from maskgen.formats.namelist import MAX_ROWS, read_names
from maskgen.model.names import NameRow, RowReport, RowStatus


def read(data):
    return read_names(data if isinstance(data, bytes) else data.encode(), name="list")


def texts(data):
    return [(row.key, row.text, bool(row.fault)) for row in read(data).rows]


def workbook(*rows, sheets=()):
    book = Workbook()
    for row in rows:
        book.active.append(row)
    for title, more in sheets:
        sheet = book.create_sheet(title)
        for row in more:
            sheet.append(row)
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


@pytest.mark.parametrize(
    ("data", "rows"),
    [
        ("text,id\nORLA,1\n", [("1", "ORLA", False)]),
        (
            "\ufefftext;id\r\nORLA;1\r\n\r\nLEIF;2\r\n\r\n\r\n",
            [("1", "ORLA", False), ("", "", False), ("2", "LEIF", False)],
        ),
        (" Text \t ID \rORLA\t1\r", [("1", "ORLA", False)]),
        ("\n\n text,id\nORLA,1", [("1", "ORLA", False)]),
        ("sep=;\ntext;id\nORLA, A;1\n", [("1", "ORLA, A", False)]),
        ('text,id\n"O, R",1\n"A ""B""",2\nA"B,3\n', [("1", "O, R", False), ("2", 'A "B"', False), ("3", 'A"B', False)]),
        # an open quote costs its own line, not the rest of the list
        ('text,id\n"ORLA,1\nLEIF,2\nUNA,3\n', [("1", '"ORLA', True), ("2", "LEIF", False), ("3", "UNA", False)]),
        ('text,id\n"ORLA,1\n"LEIF",2\nUNA,3\n', [("1", '"ORLA', True), ("2", "LEIF", False), ("3", "UNA", False)]),
        ('text,id\n"OR"LA,1\nLEIF,2\n', [("1", '"OR"LA', True), ("2", "LEIF", False)]),
        ('text,id\n"OR\nLA",1\nLEIF,2\n', [("1", "OR\nLA", True), ("2", "LEIF", False)]),
        ("text,id\nORLA,1,x\nLEIF,2,\n", [("1", "ORLA", True), ("2", "LEIF", False)]),
        ("text,id\nOR\u2028LA,1\n", [("1", "OR\u2028LA", False)]),
        (f"text,id\n{'x' * 1001},1\n", [("1", "x" * 1000, True)]),
    ],
)
def test_text_lists(data, rows):
    assert texts(data) == rows


@given(
    st.lists(
        st.lists(
            st.text(st.characters(exclude_characters="\r\n\0", exclude_categories=["Cs"]), max_size=8),
            min_size=2,
            max_size=2,
        ),
        max_size=5,
    ),
    st.sampled_from(",;\t"),
)
def test_what_a_csv_writer_writes_is_read_as_it_was(rows, delimiter):
    rows = [[text.strip(), key.strip()] for text, key in rows]
    while rows and not any(rows[-1]):
        rows.pop()
    out = io.StringIO()
    writer = csv.writer(out, delimiter=delimiter)
    writer.writerow(["text", "id"])
    writer.writerows(rows)
    assert [[row.text, row.key] for row in read(out.getvalue()).rows] == rows


@pytest.mark.parametrize(
    ("words", "count"),
    [("", 1), ("3", 3), (" 2 ", 2), ("2.0", 2), ("1e3", 1000), ("10000", 10000), ("0", 0), ("-1", 0), ("2.5", 0)]
    + [(words, 0) for words in ("ten", "nan", "inf", "1_0", "0x2", "10001", "1,5", "1e99", "TRUE")],
)
def test_quantities(words, count):
    (row,) = read(f"text;quantity\nORLA;{words}\n").rows
    assert row.quantity == count
    assert bool(row.fault) == (count == 0)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (b"\n \n", "is empty"),
        (b"name\nORLA\n", "no column `text`; the first row holds `name`"),
        (b"text,text\nORLA,x\n", "two columns are called `text`"),
        ("text\nORLA\nÉLOÏSE\n".encode("latin-1"), "not UTF-8 text (line 3, `ÉLOÏSE`)"),
        ("text\nORLA\n".encode("utf-16"), "is UTF-16 text"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), "old kind (.xls)"),
        (b"PK\x05\x06" + bytes(18), "not a readable workbook"),
        (workbook(["text"], ["ORLA"])[:2000], "not a readable workbook"),
        (workbook(), "is empty"),
        (b"text\n" + b"A\n" * (MAX_ROWS + 1), f"over {MAX_ROWS} rows"),
    ],
)
def test_what_is_no_list_is_said_in_one_line(data, words):
    with pytest.raises(InputError, match="list: ") as caught:
        read(data)
    assert words in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_workbook_that_unpacks_to_too_much_is_refused():
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/worksheets/sheet1.xml", bytes(201_000_000))
    with pytest.raises(InputError, match="unpacks to 201 MB"):
        read(data.getvalue())


def test_cells_of_a_workbook_that_are_no_text():
    day = datetime.date(2026, 5, 12)
    rows = read(
        workbook(
            ["id", "text", "quantity", "second"],
            [7, "ORLA", 2, None],
            [2.5, 12, 2.0, None],
            [day, "LEIF", None, None],
            ["d", day, 1, None],
            ["e", datetime.time(12, 30), 1, None],
            ["f", "=1+1", 1, None],
            ["g", "UNA", "=2", None],
            ["h", "UNA", True, None],
            ["i", True, 1, "=A1"],
            ["j", "#N/A", 1, None],
            ["k", "A\nB", 1, None],
        )
    ).rows
    assert [(r.key, r.text, r.quantity) for r in rows[:3]] == [
        ("7", "ORLA", 2),
        ("2.5", "12", 2),
        ("2026-05-12", "LEIF", 1),
    ]
    assert not any(row.fault for row in rows[:3])
    words = ["a date", "a time", "a formula", "a formula", "'TRUE', not a", "a formula", "error #N/A", "several lines"]
    assert [word for word, row in zip(words, rows[3:], strict=True) if word in row.fault] == words


def test_the_first_sheet_that_is_seen_is_read_and_the_others_are_told():
    book = Workbook()
    book.active.append(["text"])
    book.active.append(["HIDDEN"])
    book.active.sheet_state = "hidden"
    for title, name in (("members", "ORLA"), ("guests", "LEIF")):
        sheet = book.create_sheet(title)
        sheet["C4"], sheet["C5"] = "text", name  # a list need not begin in the corner
    book.active = 1
    data = io.BytesIO()
    book.save(data)
    names = read(data.getvalue())
    assert [row.text for row in names.rows] == ["ORLA"]
    assert names.notes == ("Of the workbook only the sheet `members` is read; there are 1 more.",)


SPREADSHEETS_RUN = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""OWASP, CSV Injection; the full width ones as well."""


@given(
    st.text("=+-@\t\r\n＝＠ ;,\"'a1\u00a0\ufeff\0", max_size=8),
    st.text("=+-@;\t'\"x\r", max_size=6),
    st.sampled_from(",;\t"),
)
def test_no_cell_of_the_manifest_is_run_whatever_separator_a_spreadsheet_takes(text, key, delimiter):
    row = NameRow(1, text, 1, key=key)
    data = write_manifest([RowReport(row, RowStatus.REFUSED, text)]).decode()
    assert len(list(csv.reader(io.StringIO(data, newline="")))) == 2
    for line in csv.reader(io.StringIO(data, newline=""), delimiter=delimiter):
        for cell in line:
            assert not cell.lstrip(" \u00a0\ufeff").startswith(SPREADSHEETS_RUN)


@pytest.mark.parametrize("text", ["ORLA", "O'NEIL", "A;B", "A-B", "", "1", "BJÖRN = 2", "שלום"])
def test_harmless_text_stays_as_it_is(text):
    assert harmless(text) == text
