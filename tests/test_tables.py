"""Reading tables: every fault by example, cells as written, CSV and Parquet alike."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from optimenu import files, tables
from optimenu.catalogue.columns import Column
from optimenu.tables import read_table

COLUMNS = {
    c.name: c
    for c in (
        Column("id", "id", "Short name", required=True),
        Column("mass_g", "number", "Mass", "g", required=True, least=0.1, most=2000),
        Column("NA_mg", "number", "Sodium", "mg per serving", least=0, most=100000),
        Column("cost", "number", "Cost", least=0),
        Column("low_c", "number", "Temperature", "deg C", most=60),
        Column("packs", "whole", "Packs", least=1, most=500),
        Column("form", "word", "Form", words=("canned", "freeze-dried")),
        Column("meals", "list", "Meals"),
        Column("days", "list", "Days", words=("work", "rest")),
        Column("made", "date", "Date made"),
        Column("note", "text", "Note"),
    )
}


def read(tmp_path, text, unique=("id",)):
    path = tmp_path / "list.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_table(path, COLUMNS, unique)


def faults(table):
    return [(f.line, f.message) for f in table.faults]


def test_cells_are_read_as_written(tmp_path):
    table = read(
        tmp_path,
        "id,mass_g,NA_mg,packs,form,meals,made,note\n"
        "stew,85.50,,4,canned,lunch; supper,2031-05-09,NA\n"
        "tea,1e1,0.10,4.0,,,,\n",
    )
    assert table.faults == ()
    first, second = table.rows
    assert str(first.number("mass_g")) == "85.50"
    assert first.number("NA_mg") is None
    assert (first.whole("packs"), first.text("form")) == (4, "canned")
    assert first.words("meals") == ("lunch", "supper")
    assert first.day("made") == date(2031, 5, 9)
    assert first.text("note") == "NA"
    assert (second.number("mass_g"), second.number("NA_mg")) == (10, Decimal("0.10"))
    assert second.whole("packs") == 4
    assert second.words("meals") == () and second.day("made") is None and second.text("form") is None
    assert table.columns == ("id", "mass_g", "NA_mg", "packs", "form", "meals", "made", "note")


@pytest.mark.parametrize(
    ("header", "cell", "message"),
    [
        ("NA_mg", "n.a.", 'NA_mg: "n.a." is not a number; leave it empty if unknown, or give mg per serving'),
        ("NA_mg", "NA", 'NA_mg: "NA" is not a number; leave it empty if unknown, or give mg per serving'),
        ("NA_mg", "nan", 'NA_mg: "nan" is not a number; leave it empty if unknown, or give mg per serving'),
        (
            "NA_mg",
            "1_000",
            'NA_mg: "1_000" is not a number; leave it empty if unknown, or give mg per serving',
        ),
        ("cost", "two", 'cost: "two" is not a number; leave it empty if unknown, or give a number'),
        ("NA_mg", '"1,5"', 'NA_mg: "1,5" is not a number; write 1.5'),
        ("NA_mg", "-1", "NA_mg: needs a number in mg per serving, 0 to 100000, found -1"),
        ("cost", "-0.5", "cost: needs a number, 0 or more, found -0.5"),
        ("low_c", "61", "low_c: needs a number in deg C, 60 or less, found 61"),
        ("cost", "1e99", 'cost: "1e99" is too large or too fine to reckon with'),
        ("NA_mg", "1e-99", 'NA_mg: "1e-99" is too large or too fine to reckon with'),
        ("packs", "2.5", "packs: needs a whole number, found 2.5"),
        ("packs", "two", 'packs: "two" is not a number; leave it empty if unknown, or give a whole number'),
        ("packs", "0", "packs: needs a number, 1 to 500, found 0"),
        ("form", "freez-dried", 'form: no word "freez-dried". Did you mean "freeze-dried"?'),
        ("form", "jar", 'form: no word "jar". Known: canned, freeze-dried.'),
        ("days", "work;holiday", 'days: no word "holiday". Known: work, rest.'),
        ("meals", "lunch;;tea", 'meals: "lunch;;tea" has an empty word; part words by single semicolons'),
        ("meals", "tea;tea", 'meals: "tea;tea" names a word twice; keep one'),
        ("made", "9 May", 'made: needs a date such as 2031-05-09, found "9 May"'),
        ("made", "2031-02-30", "made: 2031-02-30 is no day of the calendar"),
        ("made", "0031-02-03", "made: needs a date from 1900 to 2199, found 0031-02-03"),
    ],
)
def test_a_faulty_cell_says_what_is_needed(tmp_path, header, cell, message):
    table = read(tmp_path, f"id,mass_g,{header}\nstew,85,{cell}\n")
    assert faults(table) == [(2, message)]
    assert not table.rows[0].sound and table.rows[0].cells[header] is None


@pytest.mark.parametrize(
    ("row", "message"),
    [
        (
            "Beef Stew,85",
            'id: "Beef Stew" is not an id; use up to 80 lower-case letters, digits, underscores',
        ),
        (",85", "id: is empty; give a value"),
        ("stew,", "mass_g: is empty; give g"),
        ("stew,n.a.", 'mass_g: "n.a." is not a number; give g'),
        ("stew", "has 1 cells where the header has 2; add commas"),
        ("stew,1,5", "has 3 cells where the header has 2; put text that holds a comma in double quotes"),
    ],
)
def test_a_faulty_row_of_required_columns(tmp_path, row, message):
    assert faults(read(tmp_path, f"id,mass_g\n{row}\n")) == [(2, message)]


def test_a_required_word_or_date_names_its_kind(tmp_path):
    columns = {
        c.name: c
        for c in (
            Column("form", "word", "Form", words=("canned", "dried"), required=True),
            Column("made", "date", "Made", required=True),
            Column("packs", "whole", "Packs", required=True),
            Column("share", "number", "Share", required=True),
            Column("x", "text", "X"),
        )
    }
    path = tmp_path / "list.csv"
    path.write_text("form,made,packs,share,x\n,,,,1\n")
    assert [m for _, m in faults(read_table(path, columns))] == [
        "form: is empty; give one of canned, dried",
        "made: is empty; give a date such as 2031-05-09",
        "packs: is empty; give a whole number",
        "share: is empty; give a number",
    ]


def test_all_faults_of_a_file_come_at_once(tmp_path):
    table = read(tmp_path, "id,mas_g,form,form,\nstew,5,canned,canned,\nstew,5,tin,,\n")
    assert faults(table) == [
        (1, 'no column "mas_g". Did you mean "mass_g"?'),
        (1, 'column "form" stands twice; keep one'),
        (1, "column 5 has no name; name it or take it out"),
        (1, 'column "mass_g" is missing: Mass, in g'),
        (3, 'form: no word "tin". Known: canned, freeze-dried.'),
        (3, 'id "stew" stands on line 2 already; keep one'),
    ]


def test_a_missing_column_without_unit_gives_its_meaning(tmp_path):
    assert faults(read(tmp_path, "mass_g\n5\n")) == [(1, 'column "id" is missing: Short name')]


@pytest.mark.parametrize("mark", [";", "\t", "|"])
def test_other_separators_are_named(tmp_path, mark):
    table = read(tmp_path, f"id{mark}mass_g\nstew{mark}85\n")
    assert faults(table) == [(1, f'columns are parted by "{mark}"; part them by commas')]


@pytest.mark.parametrize(
    ("data", "line", "message"),
    [
        (b"", 0, "is empty; it needs a header line with the names of its columns"),
        (b"\n\n", 0, "is empty; it needs a header line with the names of its columns"),
        (b"id,mass_g\n", 0, "has a header line but no rows"),
        (b"id,mass_g\nstew,85\nt\xe4a,1\n", 3, "is not UTF-8 text; save it as UTF-8"),
        (
            b'id,mass_g\nstew,85\n"te"a,1\n',
            3,
            "cannot be told apart into cells (',' expected after '\"'); check its double quotes. "
            "Reading stopped here",
        ),
    ],
)
def test_a_file_that_cannot_be_read(tmp_path, data, line, message):
    assert faults(read(tmp_path, data)) == [(line, message)]


def test_no_such_file_names_the_nearest(tmp_path):
    (tmp_path / "items.csv").write_text("id\n")
    table = read_table(tmp_path / "itms.csv", COLUMNS)
    assert faults(table) == [(0, 'there is no such file. Did you mean "items.csv"?')]
    table = read_table(tmp_path / "zzzzzzz.csv", COLUMNS)
    assert faults(table) == [(0, "there is no such file. Beside it: items.csv.")]
    table = read_table(tmp_path / "none" / "items.csv", COLUMNS)
    assert faults(table) == [(0, f'there is no such file. There is no folder "{tmp_path / "none"}".')]


def test_a_folder_is_not_a_table(tmp_path):
    assert faults(read_table(tmp_path, COLUMNS)) == [(0, "is a folder; give a file")]


def test_a_file_in_the_place_of_a_folder(tmp_path):
    (tmp_path / "items.csv").write_text("id\n")
    table = read_table(tmp_path / "items.csv" / "x.csv", COLUMNS)
    assert faults(table) == [(0, "cannot be read: Not a directory")]


def test_a_huge_file_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(tables.read_bytes, "__defaults__", (1_000_000,))
    table = read(tmp_path, b"id,mass_g\n" + b"x" * 1_000_000)
    assert faults(table) == [(0, "is larger than 1 MB")]
    assert files.MOST_BYTES > 1_000_000


def test_the_file_is_named_as_the_user_would(tmp_path, monkeypatch):
    (tmp_path / "lists").mkdir()
    monkeypatch.chdir(tmp_path)
    assert read_table(tmp_path / "lists" / "a.csv", COLUMNS).file == "lists/a.csv"


def test_control_codes_are_taken_out_and_a_byte_order_mark_is_accepted(tmp_path):
    table = read(
        tmp_path,
        "\ufeffid,mass_g,note\r\n"
        "stew,85,\x1b[31mhot\x1b[0m \u202etaeb\u202c \x1b]0;title\x07x\x00\r\n"
        '\r\n"tea",1,"two\nlines\tand a tab"\r\n'
        "rice,nan,\r\n",
    )
    assert table.rows[0].text("note") == "hot taeb x"
    assert table.rows[1].text("note") == "two lines and a tab"
    # The blank line and the line break inside quotes are counted.
    assert [f.line for f in table.faults] == [6]


def test_rows_of_empty_cells_are_skipped(tmp_path):
    table = read(tmp_path, "id,mass_g\n,\nstew,85\n")
    assert table.faults == () and [r.line for r in table.rows] == [3]


def write(tmp_path, **columns):
    path = tmp_path / "list.parquet"
    pq.write_table(pa.table(columns), path)
    return read_table(path, COLUMNS, ("id",))


def test_parquet_numbers_are_their_shortest_decimals(tmp_path):
    table = write(
        tmp_path,
        id=["stew", "tea"],
        mass_g=pa.array([0.1 + 0.2, 85.5], pa.float64()),
        NA_mg=pa.array([0.1, None], pa.float32()),
        packs=pa.array([4.0, None], pa.float64()),
        cost=pa.array([Decimal("1.50"), None], pa.decimal128(5, 2)),
        meals=pa.array([["lunch", "tea"], []], pa.list_(pa.string())),
        made=pa.array([datetime(2031, 5, 9), None], pa.timestamp("ms")),
        form=pa.array(["canned", None]).dictionary_encode(),
    )
    assert table.faults == ()
    first, second = table.rows
    assert str(first.number("mass_g")) == "0.30000000000000004"
    assert str(first.number("NA_mg")) == "0.1"
    assert (first.whole("packs"), str(first.number("cost"))) == (4, "1.50")
    assert first.words("meals") == ("lunch", "tea") and first.day("made") == date(2031, 5, 9)
    assert second.number("NA_mg") is None and second.words("meals") == ()


def test_parquet_faults_name_the_row(tmp_path):
    table = write(tmp_path, id=["stew", "stew"], mass_g=[85.0, float("nan")])
    assert faults(table) == [
        (2, 'row 2, mass_g: "nan" is not a number; give g'),
        (2, 'row 2, id "stew" stands on row 1 already; keep one'),
    ]


def test_what_is_not_parquet_is_refused(tmp_path):
    path = tmp_path / "list.parquet"
    path.write_bytes(b"id,mass_g\n")
    ((line, message),) = faults(read_table(path, COLUMNS))
    assert line == 0 and message.startswith("is not a Parquet file that can be read: ")


def test_long_values_are_shortened(tmp_path):
    table = read(tmp_path, f"id,mass_g,form\nstew,1,{'x' * 5000}\n")
    assert faults(table) == [(2, f'form: no word "{"x" * 40}...". Known: canned, freeze-dried.')]


def test_cells_of_another_kind_read_as_none(tmp_path):
    row = read(tmp_path, "id,mass_g\nstew,85\n").rows[0]
    assert row.number("id") is None and row.whole("id") is None and row.day("id") is None
    assert row.words("id") == () and row.text("mass_g") is None
