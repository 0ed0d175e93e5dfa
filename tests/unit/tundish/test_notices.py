"""What instruments say beside readings is kept in the commit of its frame, with every digit."""

from dataclasses import replace
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from acquire.driver import DriverIdentity
from acquire.events import (
    CalibrationReport,
    CurvePoint,
    FrameRead,
    Identity,
    Instant,
    Notice,
    Outcome,
    Reading,
    RunEnded,
    RunStarted,
    Span,
    Status,
)
from acquire.sink import Chunk, Hearing, Opening
from bench.canonical_json import from_text
from storage.bench_rows import CurvePointRow
from storage.queries import NoticeFilter, ledger_after, points_after, reports_after
from storage.store import Store
from storage.verify import verify
from tests.unit.tundish.conftest import AT_US
from tundish.notice_rows import Origin, notice_rows
from tundish.store_sink import StoreSink
from tundish.wiring import known_drivers

AT = Instant(AT_US, 0)
ORIGIN = Origin(7, 8, 0, "bur-1", AT_US)


def said(quantity: str, text: str, unit: str, outcome: Outcome = Outcome.VALUE) -> Reading:
    return Reading(quantity, outcome, text, Decimal(text) if outcome is Outcome.VALUE else None, unit)


POINT = CurvePoint(
    (
        said("duration", "1.5", "min"),
        said("dispensed_volume", "3400.0", "µL"),
        said("ph", "8.20", "pH"),
        said("potential", "-70.10", "mV"),
        said("temperature", "68.0", "°F"),
    ),
    sample="W-1007",
    sequence="42",
    instrument_time="2025-10-03T12:00:01",
    mode="TA",
)
NOTICES: tuple[Notice, ...] = (
    RunStarted(sequence="42"),
    POINT,
    Status("E12", Outcome.INSTRUMENT_ERROR, "burette empty"),
    Identity("REED 3"),
    CalibrationReport((said("electrode_slope", "98.40", "%"),), mode="CAL"),
    RunEnded(aborted=True, sequence="42"),
)


async def hear(store: Store, *notices: Notice) -> None:
    """Hear one frame that says all this."""
    sink = StoreSink(store.writer, store.begin_session("0", "", AT_US), known_drivers(store))
    opening = Opening("so2", "bur-1", DriverIdentity("d", "1", "text"), "/dev/ttyX", "9600 8N1", AT)
    capture = await sink.opened(opening)
    await capture.heard(Hearing((Chunk(AT, b"28,50"),), (FrameRead(Span(0, 5), (), notices),), AT))


def rows_of(point: CurvePoint) -> list[CurvePointRow]:
    return [row for row in notice_rows(ORIGIN, point).rows if isinstance(row, CurvePointRow)]


async def test_a_point_is_kept_with_its_axes_in_one_unit_and_its_signals_as_sent(store: Store) -> None:
    await hear(store, POINT)
    with store.reader() as connection:
        (point,) = points_after(connection, NoticeFilter(), after=0, limit=10)
    assert (point.volume_numeral, point.volume_ml) == ("3.4", 3.4)
    assert (point.elapsed_s, point.temperature_c) == (90.0, 20.0)
    assert [(one.quantity, one.text, one.numeral, one.unit) for one in point.signals] == [
        ("ph", "8.20", "8.20", "pH"),
        ("potential", "-70.10", "-70.10", "mV"),
    ]
    assert (point.sample, point.sequence, point.instrument_time, point.mode) == (
        "W-1007",
        "42",
        "2025-10-03T12:00:01",
        "TA",
    )


async def test_reports_are_kept_in_the_order_in_which_they_were_said(store: Store) -> None:
    await hear(store, *NOTICES)
    with store.reader() as connection:
        reports = reports_after(connection, NoticeFilter(), after=0, limit=10)
        (point,) = points_after(connection, NoticeFilter(), after=0, limit=10)
    kinds = ["run_started", "status", "identity", "calibration_report", "run_ended"]
    assert [one.kind for one in reports] == kinds
    assert reports[0].number < point.number < reports[1].number
    bodies = {one.kind: from_text(one.body) for one in reports}
    assert bodies["status"]["code"] == "E12"
    assert bodies["calibration_report"]["values"][0]["text"] == "98.40"
    assert bodies["run_ended"]["aborted"] is True


async def test_notices_are_entered_by_the_instrument_behind_the_frame_they_came_in(store: Store) -> None:
    await hear(store, *NOTICES)
    with store.reader() as connection:
        heard, *entries = ledger_after(connection, after=0, limit=100)[-7:]
        reports = reports_after(connection, NoticeFilter(), after=0, limit=10)
        assert verify(connection).in_order
    assert heard.action == "chunk.heard"
    assert {one.actor for one in entries} == {"bur-1"}
    assert {(one.frame_number, one.frame_ordinal) for one in reports} == {(heard.number, 0)}


async def test_what_is_wanted_of_one_instrument_capture_kind_or_sample_is_found_alone(store: Store) -> None:
    await hear(store, *NOTICES)
    await hear(store, replace(POINT, sample="W-1"))
    with store.reader() as connection:
        points = points_after(connection, NoticeFilter(instrument="bur-1"), after=0, limit=10)
        first, second = points
        assert points_after(connection, NoticeFilter(sample="W-1"), after=0, limit=10) == [second]
        assert points_after(
            connection, NoticeFilter(capture_number=first.capture_number), after=0, limit=10
        ) == [first]
        assert points_after(connection, NoticeFilter(), after=first.number, limit=10) == [second]
        assert points_after(connection, NoticeFilter(), after=0, limit=1) == [first]
        (status,) = reports_after(connection, NoticeFilter(line="so2", kind="status"), after=0, limit=10)
        assert status.kind == "status"
        assert not reports_after(connection, NoticeFilter(line="other"), after=0, limit=10)


def test_a_signal_that_is_no_number_is_kept_without_one() -> None:
    (row,) = rows_of(CurvePoint((said("ph", "----", "pH", Outcome.NO_VALUE),)))
    assert (row.signal, row.signal_numeral, row.signal_text, row.signal_outcome) == (
        None,
        None,
        "----",
        "no_value",
    )


def test_a_bound_is_no_point_on_a_curve() -> None:
    above = Reading("ph", Outcome.ABOVE_RANGE, ">14", Decimal(14), "pH")
    (row,) = rows_of(CurvePoint((above,)))
    assert (row.signal, row.signal_outcome) == (None, "above_range")


def test_a_point_without_a_signal_is_one_row_that_says_so() -> None:
    (row,) = rows_of(CurvePoint((said("dispensed_volume", "1.10", "mL"),)))
    assert (row.volume_numeral, row.signal_quantity, row.signal_text) == ("1.10", "", None)


def test_a_volume_in_a_unit_of_something_else_is_no_volume() -> None:
    row, *_ = rows_of(CurvePoint((said("dispensed_volume", "1.10", "mV"), said("ph", "3.4", "pH"))))
    assert (row.volume_ml, row.volume_numeral) == (None, None)


def test_a_number_past_every_double_is_kept_as_text_alone() -> None:
    row, *_ = rows_of(CurvePoint((said("potential", "1e400", "mV"),)))
    assert (row.signal, row.signal_numeral, row.signal_text) == (None, None, "1e400")


@given(
    st.lists(
        st.tuples(st.sampled_from(["ph", "potential", "current"]), st.decimals(-999, 999, places=3)),
        max_size=5,
    )
)
def test_every_signal_of_a_point_is_a_row_of_its_own_with_all_its_digits(
    signals: list[tuple[str, Decimal]],
) -> None:
    rows = rows_of(CurvePoint(tuple(said(quantity, f"{value:f}", "mV") for quantity, value in signals)))
    assert [row.ordinal for row in rows] == list(range(max(1, len(signals))))
    told = [(row.signal_quantity, row.signal_numeral) for row in rows if row.signal_quantity]
    assert told == [(quantity, f"{value:f}") for quantity, value in signals]
