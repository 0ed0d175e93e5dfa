"""What no example of a driver file can show: time, beginnings in the middle, and the end of a line."""

from pathlib import Path

from acquire.drivers.data_only import DataOnlyFactory, factory_from_path, factory_from_text
from acquire.events import Event, Filler, FrameRead, FrameRefused, Instant, Span
from acquire.registry import DriverRegistry

DATA = Path(__file__).parents[3] / "data" / "drivers"
MS = 1_000_000
"""[ns]"""


def at(moment_ms: int) -> Instant:
    return Instant(moment_ms * 1000, moment_ms * MS)


def driver_file(name: str) -> DataOnlyFactory:
    return factory_from_path(DATA / f"{name}.toml")


def texts(events: list[Event]) -> list[str]:
    return [reading.text for event in events if isinstance(event, FrameRead) for reading in event.readings]


def reasons(events: list[Event]) -> list[str]:
    return [event.reason for event in events if isinstance(event, FrameRefused)]


def test_a_driver_that_silence_means_something_to_asks_to_be_woken() -> None:
    driver = driver_file("silence")()
    deadlines = [driver.next_deadline_ns]
    for moment, data in ((0, b"0.42mg/L,"), (150, b"16.8C")):
        driver.receive(data, at(moment))
        deadlines.append(driver.next_deadline_ns)
    assert driver.tick(at(349)) == []
    assert reasons(driver.tick(at(350))) == ["out_of_frame"]  # perhaps the second half of a message
    assert [*deadlines, driver.next_deadline_ns] == [None, 200 * MS, 350 * MS, None]


def test_silence_counts_even_if_nobody_woke_the_driver() -> None:
    driver = driver_file("silence")()
    driver.receive(b"\n", at(0))
    assert driver.receive(b"0.42mg/L,16.8C", at(300)) == [Filler(Span(0, 1))]
    assert texts(driver.receive(b"0.43mg/L,16.8C", at(600))) == ["0.42", "16.8"]
    assert texts(driver.closed(at(900))) == ["0.43", "16.8"]


def test_a_line_that_closes_within_the_silence_has_half_a_message_left() -> None:
    driver = driver_file("silence")()
    driver.receive(b"\n", at(0))
    driver.receive(b"0.42mg/L,16.8C", at(300))
    assert reasons(driver.closed(at(400))) == ["partial"]


def test_silence_ends_the_wait_for_an_end_mark_and_spares_the_next_message() -> None:
    text = (DATA / "plain-rows.toml").read_text(encoding="utf-8")
    driver = factory_from_text(text.replace("[framing]", "[framing]\nsilence_ms = 500"), "rows.toml")()
    driver.receive(b"\r\n3.4", at(0))
    assert reasons(driver.tick(at(500))) == ["partial"]
    assert texts(driver.receive(b"3.52\t21.4 C\r\n", at(600))) == ["3.52", "21.4"]


def test_utf_16_is_read_in_the_order_of_its_mark() -> None:
    rows = "Probe\tDichte\tpH\r\n\tkg/m³\t\r\nW-1\t992,3\t3,41\r\n"
    for codec, mark in (("utf-16-le", b"\xff\xfe"), ("utf-16-be", b"\xfe\xff")):
        driver = driver_file("utf16-table")()
        assert driver.receive(mark[:1], at(0)) == []
        assert texts(driver.receive(mark[1:] + rows.encode(codec), at(0))) == ["992,3", "3,41"]


def test_utf_16_without_a_mark_is_refused_however_it_comes() -> None:
    heard = ("Probe\tDichte\tpH\r\n" * 200).encode("utf-16-le")
    whole = driver_file("utf16-table")()
    singly = driver_file("utf16-table")()
    events = whole.receive(heard, at(0)) + whole.closed(at(0))
    assert set(reasons(events)) == {"not_text"}
    assert sum(event.span.length for event in events) == len(heard)
    pieces = [event for byte in heard for event in singly.receive(bytes([byte]), at(0))]
    assert pieces + singly.closed(at(0)) == events


def test_a_prompt_that_waits_for_a_question_is_no_half_message() -> None:
    driver = driver_file("echo-and-prompt")()
    driver.receive(b"3.412 / 209.8 mV\r\n> ", at(0))
    assert driver.closed(at(0)) == [Filler(Span(18, 2))]


def test_rows_below_a_header_that_has_changed_are_refused() -> None:
    driver = driver_file("header-rows")()
    heard = "Probe;Dichte;Brix (°Bx)\nW-1;1,01;5\nProbe;Brix (°Bx);Density\nW-2;5;1,02\n"
    events = driver.receive(heard.encode(), at(0))
    assert texts(events) == ["1,01", "5"]
    refused = [event for event in events if isinstance(event, FrameRefused)]
    assert "a header row without Dichte came" in refused[0].detail
    assert "no header row" in refused[1].detail


def test_a_header_that_has_changed_is_no_preamble() -> None:
    driver = driver_file("utf16-table")()
    rows = "Export\r\nProbe\tDichte\tSäure\r\n\tg/mL\t\r\nW-1\t0,9923\t3,41\r\n"
    events = driver.receive(b"\xff\xfe" + rows.encode("utf-16-le"), at(0))
    assert reasons(events) == ["wrong_layout"] * 3
    assert isinstance(events[1], Filler)


def test_a_row_of_units_that_does_not_fit_closes_the_table() -> None:
    driver = driver_file("utf16-table")()
    rows = "Probe\tDichte\tpH\r\n\tPfund\t\r\nW-1\t992,3\t3,41\r\n"
    events = driver.receive(b"\xff\xfe" + rows.encode("utf-16-le"), at(0))
    assert reasons(events) == ["unknown_unit", "wrong_layout"]


def test_more_rows_before_a_header_than_declared_are_refused() -> None:
    driver = driver_file("utf16-table")()
    rows = "a\r\n" * 6 + "Probe\tDichte\tpH\r\n"
    events = driver.receive(b"\xff\xfe" + rows.encode("utf-16-le"), at(0))
    assert reasons(events) == ["wrong_layout", "wrong_layout"]
    assert isinstance(events[-1], FrameRead)


def test_nothing_of_another_instrument_is_taken_until_the_right_one_speaks() -> None:
    driver = DriverRegistry([]).factory("so2-burette")()
    result = b"R|0042|2025-10-06 08:41:07|F|W-1007|2.31|mL|29.6|mg/L|*53\r\n"
    stranger, own = b"B|TA burette|ready|*7B\r\n", b"B|SO2 burette|ready|*BA\r\n"
    events = driver.receive(result + stranger + result + own + result, at(0))
    taken = [event.reason if isinstance(event, FrameRefused) else "" for event in events]
    assert taken == ["", "wrong_instrument", "wrong_instrument", "", ""]
    assert "nothing is taken until the right one says who it is" in str(events[2])


def test_a_status_code_in_a_row_of_its_own_counts_for_its_frame() -> None:
    text = """
name = "coded-rows"
version = "1"
[framing]
start = "{"
ends = ["}"]
[delimited]
separator = ","
rows = ";"
[[delimited.records]]
columns = [{ kind = "constant", text = "V" }, { kind = "value", quantity = "ph", unit = "pH" }]
[[delimited.records]]
columns = [
    { kind = "constant", text = "C" },
    { kind = "status", codes = { ok = "value", E1 = "instrument_error" } },
]
[[examples]]
raw = "{V,3.41;C,ok}"
expect = [{ quantity = "ph", value = "3.41" }]
[[examples]]
raw = "{V,3.41;V,3.52;C,E1}"
expect = [
    { quantity = "ph", outcome = "instrument_error", text = "3.41" },
    { quantity = "ph", outcome = "instrument_error", text = "3.52" },
]
"""
    assert factory_from_text(text, "coded-rows.toml").identity.name == "coded-rows"
