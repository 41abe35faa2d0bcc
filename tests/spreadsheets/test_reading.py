"""Tables as spreadsheets write them. Runs without Django.

CSV: RFC 4180. Formulas in cells: OWASP, "CSV Injection" (the signs that begin one).
"""

import pytest

from registry.errors import TooLarge, Unreadable
from registry.spreadsheets import harmless, read_table, table_text


def read(content, **limits):
    return read_table(content, **({"most_bytes": 10_000, "most_rows": 100} | limits))


def cells(table):
    return [row.cells for row in table.rows]


ROWS = [{"lens": "Märram, 35", "grade": "1"}]


@pytest.mark.parametrize(
    "content",
    [
        'lens,grade\r\n"Märram, 35",1\r\n'.encode(),
        '\ufefflens,grade\n"Märram, 35",1'.encode(),
        "lens;grade\nMärram, 35;1\n".encode(),
        "lens\tgrade\nMärram, 35\t1\n".encode("utf-16"),
        "lens;grade\nMärram, 35;1\n".encode("cp1252"),
        "lens\tgrade\nMärram, 35\t1",
    ],
    ids=["comma", "byte order mark", "semicolon", "UTF-16 tabs", "Windows text", "pasted cells"],
)
def test_each_spreadsheets_way_of_writing_a_table_is_read_alike(content):
    assert cells(read(content)) == ROWS


def test_a_guessed_encoding_is_told():
    assert "Windows text" in read("lens\nMärram".encode("cp1252")).notes[0]
    assert read("lens\nMärram".encode()).notes == ()


def test_rows_are_numbered_as_the_spreadsheet_numbers_them():
    table = read('lens,notes\na,"two\nlines"\n\nb,\n,\nc,x\n')
    assert [row.number for row in table.rows] == [2, 4, 6]


def test_columns_have_the_spreadsheets_letters():
    table = read(",".join(f"c{n}" for n in range(1, 60)) + "\n1")
    assert [table.letter_of(f"c{n}") for n in (1, 26, 27, 52, 53)] == ["A", "Z", "AA", "AZ", "BA"]


def test_empty_cells_and_columns_may_be_left_out_at_the_end():
    assert cells(read("lens,grade,,\na\nb,1,,\n")) == [{"lens": "a"}, {"lens": "b", "grade": "1"}]


@pytest.mark.parametrize(
    "content, code",
    [
        (b"PK\x03\x04 a workbook", "workbook-not-csv"),
        (b"lens,grade\n", "no-rows"),
        (b"", "header-missing"),
        (b"lens,Lens\na,b\n", "column-twice"),
        (b"lens\na,b\n", "cell-without-column"),
        (b"lens,\na,b\n", "cell-without-column"),
        (b'lens\n"a\n', "not-csv"),
        (b"lens\n\x81", "not-utf-8"),
    ],
)
def test_what_is_no_table_is_refused_with_the_reason(content, code):
    with pytest.raises(Unreadable) as refusal:
        read(content)
    assert refusal.value.first.code == code and refusal.value.first.remedy


def test_a_table_that_is_too_long_is_refused_before_it_is_read():
    with pytest.raises(TooLarge, match="at most 100 rows"):
        read("lens\n" + "a\n" * 101)
    with pytest.raises(TooLarge, match="MB"):
        read("lens\n" + "a\n" * 10_000)


@pytest.mark.parametrize("formula", ["=1+2", "+3", "-3 dunes", "@SUM(A1)", "\t=1"])
def test_no_cell_is_run_as_a_formula_and_its_text_comes_back(formula):
    written = table_text(["lens"], [[formula]])
    assert written.splitlines()[1].lstrip('"').startswith("'")
    assert cells(read(written)) == [{"lens": formula.strip()}] or formula.startswith("\t")


def test_numbers_stay_numbers_even_below_nought():
    assert (harmless(-0.02), harmless(None), harmless("8")) == ("-0.02", "", "8")
