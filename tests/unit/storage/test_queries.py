from collections.abc import Iterator

import pytest
from sqlalchemy import Connection, select

from storage import queries
from storage.queries import ReadingFilter
from storage.schema import reading
from storage.store import Store
from tests.fakes.filled_store import NOON_US, SECOND_US, Answer, Filler
from tests.fakes.store_contents import Filled
from tests.services.grounds import reading_engine_of

ALL = ReadingFilter()
EVER = 2**62


@pytest.fixture
def ids(filled: Filled) -> dict[str, int]:
    return filled.ids


@pytest.fixture
def connection(filled: Filled) -> Iterator[Connection]:
    engine = reading_engine_of(filled.ground)
    with engine.begin() as connection:
        yield connection
    engine.dispose()


def page(connection: Connection, wanted: ReadingFilter = ALL, after: int = 0, limit: int = 1000) -> list[int]:
    found = queries.readings_after(connection, wanted, after=after, up_to=EVER, limit=limit)
    return [reading.number for reading in found]


def test_pages_neither_skip_nor_repeat(connection: Connection) -> None:
    whole = page(connection)
    walked: list[int] = []
    for _ in whole:
        walked += page(connection, after=walked[-1] if walked else 0, limit=3)
    assert walked == whole == sorted(set(whole))


def test_a_page_after_the_last_one_is_empty(connection: Connection) -> None:
    assert page(connection, after=page(connection)[-1]) == []


def test_the_newest_come_first_when_they_are_asked_for(connection: Connection) -> None:
    newest = [reading.number for reading in queries.newest_readings(connection, ALL, limit=4)]
    assert newest == page(connection)[::-1][:4]


@pytest.mark.parametrize(
    ("wanted", "count"),
    [
        (ReadingFilter(instrument="burette-1"), 7),
        (ReadingFilter(line="ph"), 4),
        (ReadingFilter(quantity="ph"), 2),
        (ReadingFilter(outcome="above_range"), 1),
        (ReadingFilter(sample="W-1007"), 2),
        (ReadingFilter(instrument="ph-meter-1", quantity="temperature"), 2),
        (ReadingFilter(instrument="nobody"), 0),
        (ReadingFilter(from_us=NOON_US + 3 * SECOND_US), 7),
        (ReadingFilter(to_us=NOON_US + 3 * SECOND_US), 4),
    ],
)
def test_filters_narrow_a_page(connection: Connection, wanted: ReadingFilter, count: int) -> None:
    assert len(page(connection, wanted)) == count


def test_counting_stops_at_its_limit(connection: Connection) -> None:
    counts = [
        queries.count_readings(connection, ALL, after=0, up_to=EVER, limit=limit) for limit in (5, 1000)
    ]
    assert counts == [5, len(page(connection))]


def test_a_page_shows_the_newest_version_and_the_history_shows_all(
    connection: Connection, ids: dict[str, int]
) -> None:
    versions = queries.reading_versions(connection, ids["W-1007"])
    assert [(one.version, one.value_text) for one in versions] == [(1, "28.40"), (2, "28.50")]
    assert versions[1].number in page(connection)
    assert versions[0].number not in page(connection)


def test_a_reading_that_is_not_there_has_no_versions(connection: Connection) -> None:
    assert queries.reading_versions(connection, 1) == []


def test_a_taken_reading_carries_its_value_in_the_unit_of_the_registry(
    connection: Connection, ids: dict[str, int]
) -> None:
    first, second = queries.reading_versions(connection, ids["W-1007"])
    assert (first.is_taken, first.normal_text, first.normal_unit) == (True, "28.40", "mg/L")
    assert (second.is_taken, second.normal_text) == (False, None)


def test_numbers_are_compared_as_numbers_not_as_text(store: Store) -> None:
    filler = Filler(store)
    answers = [Answer("ph", text, "pH") for text in ("10.5", "9.1")]
    filler.hear(filler.open("ph", "ph-meter-1"), b"pH\r\n", answers)
    with store.reader() as connection:
        assert connection.exec_driver_sql("SELECT max(value) FROM reading").scalar() == 10.5


def test_digits_come_back_as_they_were_sent(connection: Connection, ids: dict[str, int]) -> None:
    (reading,) = queries.reading_versions(connection, ids["W-1009"])
    assert (reading.value_text, reading.value_numeral, reading.value) == ("-0.50", "-0.50", -0.5)


def test_a_reading_without_a_value_has_no_number(connection: Connection, ids: dict[str, int]) -> None:
    (reading,) = queries.reading_versions(connection, ids["over"])
    assert (reading.outcome, reading.value_numeral, reading.value) == ("above_range", None, None)


def test_a_capture_that_has_ended_says_how(connection: Connection) -> None:
    (ended,) = queries.captures_before(connection, before=None, limit=10, line="burette")
    assert (ended.ending, ended.why, ended.driver) == ("lost", "the port was gone", "burette-text")


def test_a_capture_that_is_open_has_no_end(connection: Connection) -> None:
    (still_open,) = queries.captures_before(connection, before=None, limit=10, line="ph")
    assert (still_open.ended_at_us, still_open.ending) == (None, None)


def test_captures_are_walked_from_the_newest(connection: Connection) -> None:
    newest, older = queries.captures_before(connection, before=None, limit=10)
    assert queries.captures_before(connection, before=newest.number, limit=10) == [older]
    assert queries.captures_before(connection, before=older.number, limit=10) == []


def test_what_is_not_there_is_none(connection: Connection) -> None:
    assert queries.capture_by_number(connection, 4711) is None
    assert queries.driver_by_number(connection, 4711) is None
    assert queries.frame_at(connection, 4711, 0) is None


def burette(connection: Connection) -> int:
    return queries.captures_before(connection, before=None, limit=1, line="burette")[0].number


def test_joined_chunks_are_what_was_heard(connection: Connection) -> None:
    chunks = queries.chunks_after(connection, burette(connection), after=0, limit=100)
    joined = b"".join(chunk.data for chunk in chunks)
    assert joined.startswith(b"F;W-1007;28.40;mg/L;1.1\r\n")
    assert len(joined) == queries.capture_counts(connection, burette(connection)).heard_bytes


def test_chunks_are_read_in_windows(connection: Connection) -> None:
    whole = queries.chunks_after(connection, burette(connection), after=0, limit=100)
    first = queries.chunks_after(connection, burette(connection), after=0, limit=2)
    rest = queries.chunks_after(connection, burette(connection), after=first[-1].number, limit=100)
    assert first + rest == whole


def test_counts_of_a_capture_tell_read_from_refused(connection: Connection) -> None:
    counts = queries.capture_counts(connection, burette(connection))
    assert (counts.frames_read, counts.frames_refused, counts.sent_bytes) == (4, 1, 0)


def test_a_reading_in_two_versions_counts_once(connection: Connection) -> None:
    number = burette(connection)
    rows = connection.execute(select(reading.c.version).where(reading.c.capture_number == number))
    assert sorted(rows.scalars()) == [1] * 7 + [2]
    assert queries.capture_counts(connection, number).readings == 7


def test_frames_lie_one_after_the_other(connection: Connection) -> None:
    frames = queries.frames_from(connection, burette(connection), offset=0, limit=100)
    ends = [frame.offset + frame.length for frame in frames]
    assert [frame.offset for frame in frames] == [0, *ends[:-1]]


def test_a_frame_finds_its_bytes_again(connection: Connection) -> None:
    (refused,) = queries.frames_from(connection, burette(connection), offset=0, limit=100, outcome="refused")
    assert queries.frame_bytes(connection, refused) == b"\x00\xff?;;\r\n"
    assert queries.frame_at(connection, refused.number, refused.ordinal) == refused


def test_gaps_and_faults_are_listed_newest_first(connection: Connection) -> None:
    (gap,) = queries.gaps_before(connection, before=None, limit=10, line="burette")
    (fault,) = queries.faults_before(connection, before=None, limit=10)
    assert gap.end_us - gap.begin_us == 7 * SECOND_US
    assert fault.source == "driver"
    assert queries.gaps_before(connection, before=gap.number, limit=10) == []
    assert queries.faults_before(connection, before=fault.number, limit=10) == []


def test_instruments_come_by_name_with_their_lines_and_drivers(connection: Connection) -> None:
    found = queries.instruments(connection)
    assert [(one.instrument, one.lines, one.drivers) for one in found] == [
        ("burette-1", ("burette",), ("burette-text",)),
        ("ph-meter-1", ("ph",), ("ph-text",)),
    ]


def test_an_instrument_knows_what_it_ever_measured(connection: Connection) -> None:
    assert queries.instrument_quantities(connection, "ph-meter-1") == ["ph", "temperature"]


def test_the_ledger_is_read_in_order_from_a_number(connection: Connection) -> None:
    head = queries.head(connection)
    last = queries.ledger_after(connection, after=head - 2, limit=10)
    assert [entry.number for entry in last] == [head - 1, head]
    assert last[-1].action == "session.ended"


def test_later_steps_begin_where_they_stopped(store: Store) -> None:
    with store.reader() as connection:
        assert queries.position(connection, "intake") == 0
    store.writer.submit(lambda tx: tx.set_position("intake", 12)).result(10)
    with store.reader() as later:
        assert queries.position(later, "intake") == 12


def test_readings_to_be_taken_come_in_order_with_every_version(connection: Connection) -> None:
    waiting = queries.untaken_readings(connection, after=0, limit=1000)
    assert len(waiting) == len(page(connection)) + 1
    assert [one.number for one in waiting] == sorted(one.number for one in waiting)


def test_drivers_are_kept_with_their_definition(connection: Connection) -> None:
    first, _ = queries.drivers(connection)
    assert queries.driver_by_number(connection, first.number) == first
    assert first.definition.startswith("name = ")


def test_a_large_page_uses_the_index_of_its_instrument(connection: Connection) -> None:
    explain = "EXPLAIN QUERY PLAN" if connection.dialect.name == "sqlite" else "EXPLAIN"
    if explain == "EXPLAIN":  # a server reads so small a table from end to end unless it is told not to
        connection.exec_driver_sql("SET LOCAL enable_seqscan = off")
    plan = connection.exec_driver_sql(
        f"{explain} SELECT * FROM reading WHERE instrument = 'x' AND number > 5 ORDER BY number"
    )
    assert "ix_reading_instrument_number" in " ".join(str(row) for row in plan)


def test_people_who_open_the_file_see_times_they_can_read(connection: Connection) -> None:
    first = connection.exec_driver_sql("SELECT at_utc FROM reading_current ORDER BY number LIMIT 1").scalar()
    assert first == "2025-10-03T12:00:01.000000Z"
