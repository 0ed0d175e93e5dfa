import csv
import io
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import BigInteger, bindparam, literal, literal_column, select

from storage.csv_text import DIALECTS, Column, Kind, readings_csv, window, write_rows
from storage.csv_text.sqlite import joined
from storage.csv_text.writers import window_writer
from storage.queries import ReadingFilter
from storage.schema import reading
from storage.store import Store
from tests.fakes.filled_store import Answer, Filler
from tests.fakes.store_contents import Filled

ALL = ReadingFilter()
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
Sheet = Callable[..., list[dict[str, str]]]
QUIET = settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def raw(store: Store, dialect: str = "standard", wanted: ReadingFilter = ALL, after: int = 0) -> bytes:
    pieces = readings_csv(
        store.reader,
        wanted,
        DIALECTS[dialect],
        store_kind="demo",
        after=after,
        up_to=store.writer.head.number,
    )
    return b"".join(pieces)


@pytest.fixture
def sheet(store: Store) -> Sheet:
    return reading_back(store)


def reading_back(store: Store) -> Sheet:
    """Return what reads a sheet back with the standard library's reader."""

    def read(dialect: str = "standard", wanted: ReadingFilter = ALL) -> list[dict[str, str]]:
        text = raw(store, dialect, wanted).decode()
        return list(
            csv.DictReader(io.StringIO(text, newline=""), delimiter=DIALECTS[dialect].separator, strict=True)
        )

    return read


def heard(store: Store, *answers: Answer) -> None:
    filler = Filler(store)
    filler.hear(filler.open("stand", "stand-1"), b"F;\r\n", answers)


def test_an_empty_store_gives_a_header_alone(store: Store) -> None:
    text = raw(store)
    assert text.count(b"\r\n") == 1
    assert text.startswith(b"revision,reading_id,version,measured_at")


def test_every_line_ends_with_cr_lf(full: Store) -> None:
    assert raw(full).count(b"\n") == raw(full).count(b"\r\n")


def test_digits_are_printed_as_they_were_sent(store: Store, sheet: Sheet) -> None:
    heard(store, Answer("ph", "3.410", "pH"), Answer("redox", "-0.50", "mV"))
    assert [row["value"] for row in sheet()] == ["3.410", "-0.50"]


@pytest.mark.parametrize(
    "outcome", ["above_range", "below_range", "no_value", "not_stable", "instrument_error"]
)
def test_there_is_never_a_number_where_none_was_measured(store: Store, sheet: Sheet, outcome: str) -> None:
    heard(store, Answer("free_so2", "50.0", "mg/L", outcome=outcome))
    (row,) = sheet()
    assert (row["value"], row["normal_value"], row["outcome"]) == ("", "", outcome)


def test_the_bound_of_a_reading_out_of_range_is_no_value(store: Store, sheet: Sheet) -> None:
    bound = Answer("free_so2", ">50", "mg/L", outcome="above_range")
    heard(store, bound)
    assert sheet()[0]["value_text"] == ">50"


def test_times_are_rfc_3339_in_the_standard_dialect(store: Store, sheet: Sheet) -> None:
    heard(store, Answer("ph", "3.41", "pH"))
    assert "2025-10-03T12:00:01.000000Z" in sheet()[0].values()


@pytest.mark.parametrize(
    ("dialect", "time"), [("sheet", "2025-10-03 12:00:01.000"), ("sheet-eu", "2025-10-03 12:00:01,000")]
)
def test_spreadsheets_get_times_that_they_understand(
    store: Store, sheet: Sheet, dialect: str, time: str
) -> None:
    heard(store, Answer("ph", "3.41", "pH"))
    assert sheet(dialect)[0]["measured_at_utc"] == time


def test_the_european_dialect_has_a_decimal_comma(store: Store, sheet: Sheet) -> None:
    heard(store, Answer("ph", "3.410", "pH"))
    assert sheet("sheet-eu")[0]["value"] == "3,410"


@pytest.mark.parametrize("dialect", DIALECTS)
@pytest.mark.parametrize("sample", ['=HYPERLINK("x")', "+SUM(1)", "-cmd|x", "@x", "\t=1", "\r=1"])
def test_text_that_could_run_as_a_formula_is_made_harmless(
    store: Store, sheet: Sheet, dialect: str, sample: str
) -> None:
    heard(store, Answer("ph", "3.41", "pH", sample=sample))
    assert sheet(dialect)[0]["sample"] == f"'{sample}"


@pytest.mark.parametrize("dialect", ["sheet", "sheet-eu"])
def test_text_is_always_quoted_for_spreadsheets(store: Store, dialect: str) -> None:
    heard(store, Answer("ph", "3.41", "pH", sample="00042"))
    assert b'"00042"' in raw(store, dialect)


@pytest.mark.parametrize(
    "sample", ["a,b", 'the "old" tank', "two\r\nlines", "a;b", "Fässer µ", "\\.", "'", " x "]
)
@pytest.mark.parametrize("dialect", DIALECTS)
def test_any_sample_id_reads_back_as_it_was(store: Store, sheet: Sheet, dialect: str, sample: str) -> None:
    heard(store, Answer("ph", "3.41", "pH", sample=sample))
    assert sheet(dialect)[0]["sample"] == sample


@pytest.mark.parametrize("dialect", DIALECTS)
def test_line_ends_within_texts_stay_as_they_are_beside_those_of_rows(
    store: Store, sheet: Sheet, dialect: str
) -> None:
    samples = ['a\n"b"\n', "plain", '"\n', "x\r\n", "\n", 'c"', "+\n1", "-\n=2"]
    heard(store, *(Answer("ph", "3.41", "pH", sample=sample) for sample in samples))
    shown = [row["sample"] for row in sheet(dialect)]
    assert shown == [*samples[:6], "'+\n1", "'-\n=2"]
    assert raw(store, dialect).endswith(b"\r\n")


@QUIET
@given(
    text=st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=8),
    dialect=st.sampled_from(sorted(DIALECTS)),
)
def test_a_cell_of_text_reads_back_and_never_begins_like_a_formula(
    store: Store, text: str, dialect: str
) -> None:
    columns = (Column("id", Kind.INTEGER, literal(7)), Column("sample", Kind.TEXT, literal(text)))
    with store.reader() as connection:
        piece = write_rows(connection, columns, select(), DIALECTS[dialect])
    assert (piece.last, piece.rows) == (7, 1)
    line = io.StringIO(piece.text.decode(), newline="")
    ((_, first),) = csv.reader(line, delimiter=DIALECTS[dialect].separator, strict=True)
    assert first in {text, f"'{text}"}
    assert first == text or text.startswith(FORMULA_STARTS)
    assert not first.startswith(("=", "@", "\t", "\r"))


def test_the_value_in_the_unit_of_the_registry_stands_beside(store: Store, sheet: Sheet) -> None:
    filler = Filler(store)
    (reading,) = filler.hear(
        filler.open("stand", "stand-1"), b"0.0284\r\n", [Answer("free_so2", "0.0284", "g/L")]
    )
    filler.take(reading, "28.4", "mg/L")
    (row,) = sheet()
    assert (row["value"], row["unit"], row["normal_value"], row["normal_unit"]) == (
        "0.0284",
        "g/L",
        "28.4",
        "mg/L",
    )


def test_the_sheet_shows_the_newest_version_of_each_reading_once(full: Store, filled: Filled) -> None:
    rows = [row for row in reading_back(full)() if row["reading_id"] == str(filled.ids["W-1007"])]
    assert [(row["version"], row["value"]) for row in rows] == [("2", "28.50")]


def test_every_row_says_what_kind_of_store_it_came_from(full: Store) -> None:
    assert {row["store"] for row in reading_back(full)()} == {"demo"}


def test_windows_neither_skip_nor_repeat(store: Store, sheet: Sheet) -> None:
    filler = Filler(store, step_us=1)
    capture = filler.open("ph", "ph-meter-1")
    with store.reader() as connection:
        longest = window(connection)
    many = [
        Answer("ph", f"3.{count:04d}", "pH") for count in range(longest * 3 // 4)
    ]  # a window ends inside a frame
    for _ in range(3):
        filler.hear(capture, b"pH\r\n", many)
    revisions = [int(row["revision"]) for row in sheet()]
    assert len(revisions) == 3 * len(many) > 2 * longest
    assert revisions == sorted(set(revisions))


@pytest.mark.parametrize("dialect", DIALECTS)
def test_windows_with_and_without_marks_to_quote_follow_one_another(store: Store, dialect: str) -> None:
    samples = ["a", "b", "c", 'the "old"', "d,e;f", "g", "h", "=i", "j", "two\nlines", "cr\r", "k", "l", "m"]
    heard(store, *(Answer("ph", "3.41", "pH", sample=sample) for sample in samples))
    columns = (Column("id", Kind.INTEGER, reading.c.number), Column("sample", Kind.TEXT, reading.c.sample))
    place_of = bindparam("place", 0, type_=BigInteger())
    rows = select().where(reading.c.number > place_of).order_by(reading.c.number).limit(2)
    text, place = b"", 0
    with store.reader() as connection:
        write = window_writer(connection, columns, rows, DIALECTS[dialect])
        while (piece := write(connection, place)).rows:
            text, place = text + piece.text, piece.last
    lines = io.StringIO(text.decode(), newline="")
    found = [row[1] for row in csv.reader(lines, delimiter=DIALECTS[dialect].separator, strict=True)]
    assert found == ["'=i" if sample == "=i" else sample for sample in samples]


@pytest.mark.parametrize("version", [(3, 40, 1), None])
def test_cells_are_joined_alike_by_an_older_sqlite(store: Store, version: tuple[int, ...] | None) -> None:
    cells: list[Any] = [literal_column(f"'{cell}'") for cell in ("a", "", "b")]
    with store.reader() as connection:
        text = connection.execute(select(joined(cells, literal_column("','"), version))).scalar_one()
    assert text == "a,,b"


def test_the_same_call_gives_the_same_bytes_while_the_store_goes_on(full: Store) -> None:
    pieces = [
        readings_csv(
            full.reader,
            ALL,
            DIALECTS["standard"],
            store_kind="demo",
            after=0,
            up_to=full.writer.head.number,
        )
        for _ in range(2)
    ]
    first = b"".join(pieces[0])
    heard(full, Answer("ph", "3.99", "pH"))
    assert b"".join(pieces[1]) == first


def test_a_sheet_can_go_on_after_a_revision(full: Store) -> None:
    assert raw(full, after=full.writer.head.number).count(b"\r\n") == 1


@pytest.mark.parametrize(
    "wanted",
    [ReadingFilter(quantity="ph"), ReadingFilter(line="burette"), ReadingFilter(instrument="burette-1")],
)
def test_a_sheet_holds_only_what_was_asked_for(full: Store, wanted: ReadingFilter) -> None:
    some = reading_back(full)(wanted=wanted)
    field = next(name for name in ("quantity", "line", "instrument") if getattr(wanted, name))
    assert some
    assert {row[field] for row in some} == {getattr(wanted, field)}
