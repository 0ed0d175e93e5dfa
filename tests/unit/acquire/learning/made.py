"""Instruments made for tests: a driver of one layout family, and the bytes that such an instrument sends."""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from hypothesis import strategies as st

from acquire.drivers.checks import FrameCheck
from acquire.drivers.data_only import DataOnlyFactory
from acquire.events import Event, FrameRead, Reading
from acquire.learning.candidate import definition_of, events_of

FRAMES = 28


@dataclass(frozen=True)
class Value:
    """A kind of number."""

    quantity: str
    unit: str
    written: str
    label: str
    least: float
    step: float
    digits: int


VALUES = (
    Value("temperature", "°C", "C", "Temp", 18.3, 0.37, 1),
    Value("turbidity", "NTU", "NTU", "Turb", 0.62, 1.13, 2),
    Value("mass", "g", "g", "Mass", 12.0131, 3.7123, 4),
    Value("potential", "mV", "mV", "Redox", 183.4, 2.9, 1),
    Value("density", "g/mL", "g/mL", "Density", 0.9911, 0.0017, 4),
    Value("brix", "°Brix", "Brix", "Sugar Brix", 18.21, 0.37, 2),
)


@dataclass(frozen=True)
class Made:
    """What the instrument sends, and the driver by which it is truly read."""

    tables: dict[str, Any]
    data: bytes

    def events(self) -> list[Event]:
        """Return what its true driver makes of its bytes."""
        definition, faults = definition_of(self.tables)
        assert definition is not None, faults
        return events_of(definition, self.data)


def readings_from(events: list[Event], begin: int) -> list[tuple[str, Decimal | None, str, str, str | None]]:
    """Return what readings behind a place say, those of a message in the order of their names. [bytes]"""
    return [
        reading
        for event in events
        if isinstance(event, FrameRead) and event.span.offset >= begin
        for reading in sorted(map(_told, event.readings))
    ]


def _told(one: Reading) -> tuple[str, Decimal | None, str, str, str | None]:
    return one.quantity, one.value, one.unit, one.outcome.value, one.sample


def learnt_readings(
    factory: DataOnlyFactory, data: bytes, begin: int
) -> list[tuple[str, Decimal | None, str, str, str | None]]:
    """Return what a learnt driver says of the bytes behind a place. [bytes]"""
    return readings_from(events_of(factory.definition, data), begin)


def _number(value: Value, at: int, decimal: str) -> str:
    return f"{value.least + value.step * (at % 9):.{value.digits}f}".replace(".", decimal)


def _sample(at: int) -> str:
    return f"W-{1000 + 7 * at % 90}"


def _values() -> st.SearchStrategy[list[Value]]:
    return st.lists(st.sampled_from(VALUES), min_size=1, max_size=3, unique=True)


def _with_numbers(tables: dict[str, Any], decimal: str) -> dict[str, Any]:
    return tables | ({"numbers": {"decimal": decimal}} if decimal != "." else {})


@st.composite
def rows(draw: Callable[..., Any]) -> Made:
    """Columns with a separator, a counter, a sample, values with their unit glued or beside them."""
    end = draw(st.sampled_from(["\r\n", "\n", "\r"]))
    separator = draw(st.sampled_from([";", "|", "\t"]))
    decimal = draw(st.sampled_from([".", ","]))
    apart = draw(st.booleans())
    values = draw(_values())
    fields: list[dict[str, Any]] = [{"kind": "sequence"}, {"kind": "sample"}]
    for value in values:
        fields.append({"kind": "value", "quantity": value.quantity, "units": [value.unit]})
        fields += [{"kind": "unit"}] if apart else []
    lines = []
    for at in range(FRAMES):
        cells = [str(at + 1), _sample(at)]
        for value in values:
            number = _number(value, at, decimal)
            cells += [number, value.written] if apart else [f"{number} {value.written}"]
        lines.append(separator.join(cells) + end)
    layout = {"separator": separator.replace("\t", r"\t"), "records": [{"columns": fields}]}
    tables = {"framing": {"ends": [_escaped(end)]}, "delimited": layout}
    return Made(_with_numbers(tables, decimal), "".join(lines).encode())


@st.composite
def header_tables(draw: Callable[..., Any]) -> Made:
    """A table under a header row that says the units."""
    separator = draw(st.sampled_from([";", ",", "\t"]))
    decimal = "," if separator == ";" and draw(st.booleans()) else "."
    values = draw(_values())
    fields: list[dict[str, Any]] = [{"label": "Sample", "kind": "sample"}]
    names = ["Nr", "Sample"]
    for value in values:
        label = f"{value.label} ({value.written})"
        names.append(label)
        fields.append({"label": label, "kind": "value", "quantity": value.quantity, "unit": value.unit})
    lines = [separator.join(names)]
    for at in range(FRAMES):
        lines.append(separator.join([str(at + 1), _sample(at), *(_number(v, at, decimal) for v in values)]))
    layout = {"separator": separator.replace("\t", r"\t"), "header": True, "records": [{"columns": fields}]}
    tables = {"framing": {"ends": [r"\n"]}, "delimited": layout}
    return Made(_with_numbers(tables, decimal), "".join(f"{line}\n" for line in lines).encode())


@st.composite
def labelled(draw: Callable[..., Any]) -> Made:
    """Labels with values in any order."""
    between = draw(st.sampled_from([" ", ";", "|"]))
    label_end = draw(st.sampled_from(["=", ":"]))
    values = [value for value in draw(_values()) if " " not in value.label] or [VALUES[0]]
    chance = draw(st.randoms(use_true_random=False))
    fields: list[dict[str, Any]] = [{"label": "ID", "kind": "sample"}]
    fields += [{"label": v.label, "kind": "value", "quantity": v.quantity, "units": [v.unit]} for v in values]
    lines = []
    for at in range(FRAMES):
        pairs = [f"ID{label_end}{_sample(at)}"]
        pairs += [f"{v.label}{label_end}{_number(v, at, '.')}{v.written}" for v in values]
        chance.shuffle(pairs)
        lines.append(between.join(pairs) + "\r\n")
    layout = {"between": between, "label_end": label_end, "fields": fields}
    return Made({"framing": {"ends": [r"\r\n"]}, "labelled": layout}, "".join(lines).encode())


@st.composite
def fixed_columns(draw: Callable[..., Any]) -> Made:
    """Columns at fixed places, filled up with blanks."""
    values = draw(_values())
    width = draw(st.integers(9, 12))
    fields: list[dict[str, Any]] = [{"at": [1, 8], "kind": "sample"}]
    at = 9
    for value in values:
        fields.append(
            {"at": [at, at + width - 1], "kind": "value", "quantity": value.quantity, "units": [value.unit]}
        )
        fields.append({"at": [at + width + 1, at + width + 5], "kind": "unit"})
        at += width + 6
    lines = []
    for number in range(FRAMES):
        line = f"{_sample(number):<8}"
        for value in values:
            line += f"{_number(value, number, '.'):>{width}} {value.written:<5}"
        lines.append(line + "\r\n")
    layout = {"width": at - 1, "records": [{"columns": fields}]}
    return Made({"framing": {"ends": [r"\r\n"]}, "fixed": layout}, "".join(lines).encode())


@st.composite
def checked_frames(draw: Callable[..., Any]) -> Made:
    """Start and end bytes with a check over what stands between them."""
    start, end = draw(st.sampled_from([("\x02", "\x03"), ("{", "}"), ("$", "\r\n")]))
    kind = draw(
        st.sampled_from(["sum8", "sum8-inverted", "xor8", "crc16-modbus", "crc16-xmodem", "crc16-kermit"])
    )
    values = draw(_values())
    covers_start = draw(st.booleans())
    check = FrameCheck(kind, b"*", prefix=start.encode() if covers_start else b"")
    fields: list[dict[str, Any]] = [{"kind": "sample"}]
    fields += [{"kind": "value", "quantity": v.quantity, "units": [v.unit]} for v in values]
    data = b""
    for at in range(FRAMES):
        body = ",".join([_sample(at), *(f"{_number(v, at, '.')}{v.written}" for v in values)]).encode()
        data += start.encode() + body + b"*" + _check_of(check, body) + end.encode()
    table: dict[str, Any] = {"kind": kind, "mark": "*"} | ({"includes_start": True} if covers_start else {})
    framing = {"start": _escaped(start), "ends": [_escaped(end)]}
    layout = {"separator": ",", "records": [{"columns": fields}]}
    return Made({"framing": framing, "check": table, "delimited": layout}, data)


@st.composite
def blocks(draw: Callable[..., Any]) -> Made:
    """Several lines a message, between two lines that never change."""
    values = draw(_values())
    blank = draw(st.booleans())
    fields: list[dict[str, Any]] = [{"label": "Sample", "kind": "sample"}]
    fields += [{"label": v.label, "kind": "value", "quantity": v.quantity, "units": [v.unit]} for v in values]
    text = ""
    for at in range(FRAMES):
        lines = ["RESULT SHEET", f"Sample: {_sample(at)}"]
        lines += [f"{v.label}: {_number(v, at, '.')} {v.written}" for v in values]
        text += "".join(f"{line}\r\n" for line in [*lines, "END OF SHEET", *([""] if blank else [])])
    tables = {
        "framing": {"ends": [r"\r\n"], "max_length": 1024},
        "block": {"begin": "RESULT SHEET", "end": "END OF SHEET"},
        "labelled": {"between": r"\r\n", "label_end": ":", "fields": fields},
    }
    return Made(tables, text.encode())


def _escaped(text: str) -> str:
    return text.replace("\r", r"\r").replace("\n", r"\n").replace("\x02", r"\x02").replace("\x03", r"\x03")


def _check_of(check: FrameCheck, body: bytes) -> bytes:
    from acquire.drivers.checks import check_length
    from acquire.drivers.refusal import Refusal

    length = check_length(check.kind, check.written)
    try:
        check.text_of(body + b"*" + b"?" * length)
    except Refusal as refusal:
        return refusal.detail.split("'")[1].encode()
    raise AssertionError("question marks are no check")


FAMILIES = {
    "rows": rows(),
    "header_tables": header_tables(),
    "labelled": labelled(),
    "fixed_columns": fixed_columns(),
    "checked_frames": checked_frames(),
    "blocks": blocks(),
}
