"""Layouts beyond those of the shipped files: what they read, and what they refuse."""

from pathlib import Path

import pytest

from acquire.drivers.data_only import DataOnlyFactory, factory_from_path, factory_from_text
from acquire.events import Event, FrameRead, FrameRefused
from tests.unit.acquire.drivers.battery import events_of, readings_of

DATA = Path(__file__).parents[3] / "data" / "drivers"

METER = r"""
name = "meter"
version = "1"
[framing]
ends = ['\n']
distrust_first = false
{layout}
[[examples]]
raw = '{raw}\n'
expect = [{{ quantity = "ph", value = "3.41" }}]
"""
PAIRS = """
[labelled]
{options}
fields = [
    {{ label = "pH", kind = "value", quantity = "ph", unit = "pH" }},
    {{ label = "pH mode", kind = "mode", required = false }},
    {{ label = "T", kind = "value", quantity = "temperature", units = ["°C"], required = false }},
]
"""


def meter(layout: str, raw: str) -> DataOnlyFactory:
    return factory_from_text(METER.format(layout=layout, raw=raw), "meter.toml")


def pairs(options: str, raw: str) -> DataOnlyFactory:
    return meter(PAIRS.format(options=options), raw)


def refusal(events: list[Event]) -> FrameRefused:
    (event,) = (event for event in events if isinstance(event, FrameRefused))
    return event


@pytest.mark.parametrize(
    ("options", "alone", "raw"),
    [
        ("", "pH 3.41", "pH 3.41 T 21.4C"),
        ("", "pH 3.41", "T 21.4 C pH  3.41"),
        ("", "pH 3.41", "pH mode AUTO pH 3.41 T 21.4C"),
        ("label_end = ':'", "pH:3.41", "pH: 3.41 T : 21.4 C"),
        ("label_end = ''", "pH3.41", "pH3.41 T21.4C"),
        ("between = ','\nlabel_end = '='", "pH=3.41", "pH=3.41, T = 21.4 C"),
        ("between = ';'", "pH 3.41", "T 21.4C;pH 3.41;"),
    ],
)
def test_labelled_values_stand_in_any_order_with_the_declared_marks(
    options: str, alone: str, raw: str
) -> None:
    readings = readings_of(events_of(pairs(options, alone), [raw.encode() + b"\n"]))
    assert [(reading.quantity, reading.text) for reading in readings] == [
        ("ph", "3.41"),
        ("temperature", "21.4"),
    ]


@pytest.mark.parametrize(
    ("raw", "reason", "words"),
    [
        ("T 21.4C", "wrong_layout", "no label 'pH'"),
        ("pH 3.41 pH 3.42", "wrong_layout", "the label 'pH' came twice"),
        ("at pH 3.41", "wrong_layout", "'at' is not behind a label"),
        ("pH 3.41 mV 200", "not_a_number", "'3.41 mV 200'"),
        ("pH 3.41 T 21.4", "unknown_unit", "no unit stands behind '21.4'"),
        ("pH 3.41 T 21.4K", "unknown_unit", "wanted °C, got 'K'"),
        ("pH", "not_a_number", "''"),
    ],
)
def test_labelled_values_that_are_not_as_declared_are_refused(raw: str, reason: str, words: str) -> None:
    event = refusal(events_of(pairs("", "pH 3.41"), [raw.encode() + b"\n"]))
    assert event.reason == reason
    assert words in event.detail


def test_a_label_inside_a_word_is_no_label() -> None:
    assert refusal(events_of(pairs("", "pH 3.41"), [b"apH 3.41\n"])).reason == "wrong_layout"


def test_many_blanks_and_labels_are_refused_at_once() -> None:
    for raw in (b"pH" + b" " * 4000, b"pH " * 1300, b" " * 4000 + b"T"):
        assert refusal(events_of(pairs("label_end = ':'", "pH:3.41"), [raw + b"\n"])).reason == "wrong_layout"


def test_a_block_of_lines_is_one_frame_from_its_first_line_to_its_last() -> None:
    factory = factory_from_path(DATA / "report-block.toml")
    raw = factory.definition.examples[0].raw.encode("cp1252").decode("unicode_escape").encode("cp1252")
    *_, event = events_of(factory, [raw])
    assert isinstance(event, FrameRead)
    assert (event.span.offset, event.span.end) == (2, len(raw))


def test_a_header_row_is_read_without_readings_and_a_later_one_counts_from_there() -> None:
    factory = factory_from_path(DATA / "header-rows.toml")
    rows = "Probe;Dichte;Brix (°Bx)\na;1,01;5\nBrix (°Bx);Probe;Dichte\n6;b;1,02\n"
    events = events_of(factory, [rows.encode()])
    assert [len(event.readings) for event in events if isinstance(event, FrameRead)] == [0, 2, 0, 2]
    assert [(reading.sample, reading.text) for reading in readings_of(events)] == [
        ("a", "1,01"),
        ("a", "5"),
        ("b", "1,02"),
        ("b", "6"),
    ]


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("Probe;Dichte;Brix (°Bx);Dichte\n", "the header names Dichte twice"),
        ("Probe;Dichte;Brix (°Bx)\na;1,01\n", "wanted 3 columns, got 2"),
        ("Probe;Dichte\n", "a header row without Brix (°Bx) came"),
        ("1;2;3\n", "no header row with Probe, Dichte, Brix (°Bx) came yet"),
    ],
)
def test_rows_that_do_not_fit_their_header_are_refused(rows: str, words: str) -> None:
    assert words in refusal(events_of(factory_from_path(DATA / "header-rows.toml"), [rows.encode()])).detail


def test_a_row_behind_a_refused_header_is_refused_too() -> None:
    rows = "Probe;Dichte;Brix (°Bx);Dichte\na;1,01;5;1,02\n"
    events = events_of(factory_from_path(DATA / "header-rows.toml"), [rows.encode()])
    assert [type(event) for event in events] == [FrameRefused, FrameRefused]


def test_a_missing_separator_at_the_end_of_a_row_is_refused_where_one_is_declared() -> None:
    layout = """[delimited]
    separator = ";"
    trailing = true
    [[delimited.records]]
    columns = [{ kind = "value", quantity = "ph", unit = "pH" }]"""
    factory = meter(layout, "3.41;")
    assert [reading.text for reading in readings_of(events_of(factory, [b"3.5;\n"]))] == ["3.5"]
    assert "wanted ';' at the end of the row" in refusal(events_of(factory, [b"3.5\n"])).detail


@pytest.mark.parametrize(
    ("columns", "row", "reason"),
    [
        ('{ kind = "mode", texts = ["A"] }', "A", ""),
        ('{ kind = "mode", texts = ["A"] }', "B", "unknown_mode"),
        ('{ kind = "sequence", digits = 3 }', "007", ""),
        ('{ kind = "sequence", digits = 3 }', "07", "wrong_layout"),
        ('{ kind = "sequence" }', "", "wrong_layout"),
        ('{ kind = "stable", stable = ["S"], drifting = ["D"] }', "S", ""),
        ('{ kind = "stable", stable = ["S"], drifting = ["D"] }', "?", "wrong_layout"),
        ('{ kind = "constant", text = "ok" }', "ok", ""),
        ('{ kind = "time", form = "hh:mm" }', "", ""),
        ('{ kind = "time", form = "hh:mm" }', "8:41", "wrong_time"),
    ],
)
def test_fields_beside_the_value_are_held_to_what_is_declared(columns: str, row: str, reason: str) -> None:
    layout = f"""[delimited]
    separator = ";"
    [[delimited.records]]
    columns = [{{ kind = "value", quantity = "ph", unit = "pH" }}, {columns}]"""
    good = {"mode": "A", "sequence": "007", "stable": "S", "constant": "ok", "time": ""}
    kind = columns.split('"')[1]
    events = events_of(meter(layout, f"3.41;{good[kind]}"), [f"3.5;{row}\n".encode()])
    assert [event.reason for event in events if isinstance(event, FrameRefused)] == [reason][: len(reason)]
