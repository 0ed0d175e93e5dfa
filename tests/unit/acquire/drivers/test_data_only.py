"""A driver file is loaded whole, or refused with every fault and its key path."""

from pathlib import Path

import pytest

from acquire.driver import DriverIdentity
from acquire.drivers.data_only import DataOnlyFactory, factory_from_path, factory_from_text
from acquire.errors import DriverFileError
from acquire.events import FrameRead, FrameRefused, Outcome, Reading
from tests.unit.acquire.drivers.battery import events_of, readings_of

GOOD = r"""
name = "bench-meter"
version = "2"

[framing]
ends = ['\r\n']

[tokens]
no_value = ["----"]

[delimited]
separator = ";"

[[delimited.records]]
columns = [
    { kind = "constant", text = "M" },
    { kind = "sample" },
    { kind = "value", quantity = "ph", unit = "pH" },
]

[[examples]]
raw = 'M;W-1;3.41\r\n'
expect = [{ quantity = "ph", value = "3.41" }]
"""


def faults_of(text: str) -> tuple[str, ...]:
    with pytest.raises(DriverFileError) as caught:
        factory_from_text(text, "meter.toml")
    assert str(caught.value).startswith("driver file meter.toml is refused: ")
    return caught.value.faults


def changed(*changes: tuple[str, str]) -> str:
    text = GOOD
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return text


def read(factory: DataOnlyFactory, data: bytes) -> list[Reading]:
    return readings_of(events_of(factory, [data]))


def test_a_good_file_makes_drivers_that_carry_its_whole_text() -> None:
    factory = factory_from_text(GOOD, "meter.toml")
    assert factory.identity == DriverIdentity("bench-meter", "2", GOOD)
    (reading,) = read(factory, b"M;W-7;3.410\r\n")
    assert (reading.quantity, reading.outcome, reading.text) == ("ph", Outcome.VALUE, "3.410")
    assert (str(reading.value), reading.unit, reading.sample) == ("3.410", "pH", "W-7")


def test_an_empty_sample_is_none_and_a_token_is_no_value() -> None:
    (reading,) = read(factory_from_text(GOOD, "meter.toml"), b"M; ;----\r\n")
    assert (reading.sample, reading.outcome, reading.text, reading.value) == (
        None,
        Outcome.NO_VALUE,
        "----",
        None,
    )


@pytest.mark.parametrize(
    ("frame", "reason", "words"),
    [
        (b"X;W-1;3.41\r\n", "wrong_layout", "wanted 'M' in the first column, got 'X'"),
        (b"M;W-1\r\n", "wrong_layout", "wanted 3 columns, got 2"),
        (b'M;"W-1";3.41\r\n', "wrong_layout", "quoted = true"),
        (b"M;W-1;3,41\r\n", "not_a_number", "'3,41' is neither a number nor a token"),
        (b"M;W-1;3.4\xff1\r\n", "not_text", "byte 0xFF at byte 10"),
        (b"M;W-1;3.4\x001\r\n", "not_text", "control character 0x00"),
    ],
)
def test_a_frame_that_is_not_as_declared_is_refused_in_words(frame: bytes, reason: str, words: str) -> None:
    (event,) = events_of(factory_from_text(GOOD, "meter.toml"), [frame])
    assert isinstance(event, FrameRefused)
    assert event.reason == reason
    assert words in event.detail


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('version = "2"', "version = 2", "version: Input should be a valid string"),
        ('version = "2"', "", "version: is missing"),
        ("ends =", "end =", "framing.end: this key is not known here"),
        ("ends = ['\\r\\n']", "", "framing.ends: nothing says where a frame ends"),
        ("[tokens]", "[token]", "token: this key is not known here"),
        ('kind = "value"', 'kind = "number"', "delimited.records.0.columns.2: Input tag 'number'"),
        ('unit = "pH"', 'unt = "pH"', "delimited.records.0.columns.2.unt: this key is not known here"),
        ("ends = ['\\r\\n']", "ends = ['\\q']", "framing.ends.0: \\q is no escape"),
        ("ends = ['\\r\\n']", "ends = ['\\r\\n', '\\r']", "framing.ends.0: another end mark ends inside"),
        ("ends = ['\\r\\n']", "ends = ['']", "framing.ends.0: an end mark needs at least one byte"),
        (
            "[tokens]",
            "start = 'M'\ndistrust_first = true\n[tokens]",
            "framing.distrust_first: with a start mark",
        ),
        ("[tokens]", "filler = '\\xb0'\n[tokens]", "framing.filler: only ASCII"),
        (
            "[tokens]",
            "[check]\nkind = 'sum8'\nskip_bytes = 3\n[tokens]",
            "check.skip_bytes: a check covers every",
        ),
        (
            "[tokens]",
            "[check]\nkind = 'sum8'\nincludes_start = true\n[tokens]",
            "check.includes_start: there is no",
        ),
        ("[tokens]", "[units]\nacid = 'g'\nsour = 'gg'\n[tokens]", "units.sour: unknown unit 'gg'"),
        (
            "[tokens]",
            "[numbers]\nthousands = '.'\n[tokens]",
            "numbers.thousands: the same as the decimal mark",
        ),
        ("[tokens]", "[time]\nform = 'noon'\n[tokens]", "time.form: the time form 'noon' must name"),
        (
            "[tokens]",
            "[range_marks]\nabove = ['>', '>']\n[tokens]",
            "range_marks: '>' is empty or listed twice",
        ),
        ('["----"]', '["----"]\naborted = ["----"]', "tokens: '----' is listed twice"),
        ('separator = ";"', 'separator = ""', "delimited.separator: it must be at least one character"),
        ('separator = ";"', 'separator = "."', "delimited.separator: '.' also stands inside numbers"),
        (
            'separator = ";"',
            'separator = ";;"\nquoted = true',
            "delimited.quoted: quoted columns need a separator",
        ),
        ('separator = ";"', 'separator = ";"\nheader = true', "columns.0.label: a label is wanted"),
        ('text = "M"', 'text = "M", label = "a"', "columns.0.label: labels of columns need header = true"),
        ('"sample"', '"sample", required = false', "columns.1.required: only labelled fields"),
        ('"sample"', '"time"', "columns.1.form: a time needs its form here or in the table time"),
        ('"sample"', '"time", form = "DD"', "columns.1.form: the time form 'DD' must name"),
        ('"sample"', '"unit"', "columns.1: a unit needs a value field before it"),
        ('"sample"', '"stable", stable = ["S"], drifting = ["S"]', "columns.1: a mark cannot say both"),
        ('quantity = "ph"', 'quantity = "acid"', "columns.2: unknown quantity 'acid'"),
        ('unit = "pH"', 'unit = "mg/L"', "columns.2: ph is never given in mg/L"),
        ('unit = "pH"', 'unit = "pH", units = ["pH"]', "columns.2: a value names unit"),
        ('"value", quantity = "ph", ', '"value", ', "columns.2: a value names quantity or quantity_by_mode"),
        (
            '"value", quantity = "ph"',
            '"value", quantity_by_mode = { a = "ph" }',
            "columns.2.quantity_by_mode: the record has no field",
        ),
        ('"ph", value = "3.41" }]', '"ph" }]', 'an expected value needs its number: value = "3.41"'),
        ('value = "3.41"', 'value = "3,41"', "'3,41' is no decimal number"),
        ('[{ quantity = "ph", value = "3.41" }]', '"broken"', "'broken' is no reason for a refusal"),
        (
            '[{ quantity = "ph", value = "3.41" }]',
            "[]",
            "examples: at least one example must expect a reading",
        ),
    ],
)
def test_refuses_a_file_with_a_fault_and_names_its_key(old: str, new: str, fault: str) -> None:
    faults = faults_of(changed((old, new)))
    assert any(fault in text for text in faults), faults


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        (
            'value = "3.41"',
            'value = "3.42"',
            "examples.0 (fed whole): reading 0, value: expected 3.42, got 3.41",
        ),
        ('value = "3.41"', 'value = "3.41", sample = "W-2"', "reading 0, sample: expected 'W-2', got 'W-1'"),
        ('value = "3.41" }]', 'outcome = "no_value" }]', "reading 0, outcome: expected no_value, got value"),
        ("3.41\\r\\n'", "3.41'", "expected to be read, got refused as partial"),
        ("3.41\\r\\n'", "3.41\\r\\nM;;3.5\\r\\n'", "expected 1 readings, got 2: ph 3.41 pH, ph 3.5 pH"),
        ("raw = 'M;W-1;3.41", "raw = '", "expected a message, got nothing but filler"),
    ],
)
def test_refuses_a_file_whose_example_fails_and_says_what_came(old: str, new: str, fault: str) -> None:
    assert any(fault in text for text in faults_of(changed((old, new))))


@pytest.mark.parametrize(
    ("raw", "reason", "fault"),
    [
        ("M;;3.41\\r\\n", "not_a_number", "expected refused as not_a_number, got ph 3.41 pH"),
        ("X\\r\\n", "not_a_number", "expected refused as not_a_number, got wrong_layout ("),
        ("\\r\\n", "partial", "expected refused as partial, got nothing refused"),
    ],
)
def test_an_example_of_a_refusal_fails_if_it_is_not_refused_so(raw: str, reason: str, fault: str) -> None:
    faults = faults_of(f"{GOOD}\n[[examples]]\nraw = '{raw}'\nexpect = \"{reason}\"\n")
    assert any(text.startswith("examples.1 (fed whole)") and fault in text for text in faults), faults


@pytest.mark.parametrize(
    ("framing", "more", "fault"),
    [
        ("ends = ['\\r']\nlength = 8", "", "framing.length: a frame ends at its end mark or at its length"),
        ("length = 8", "", "framing.length: nothing says where a frame begins; give start or silence_ms"),
        ("length = 2\nstart = 'ab'", "", "framing.length: it has no room for more than the start mark"),
        ("silence_ms = 200\nstart = 'a'", "", "framing.start: a frame that silence ends begins behind"),
        ("silence_ms = 20", "", "framing.silence_ms: Input should be greater than or equal to 50"),
        ("silence_ms = 200\nprompts = ['>']", "", "framing.prompts: prompts stand before frames that end at"),
        (
            "ends = ['\\r']\nencoding = 'utf-16'\nsilence_ms = 90",
            "",
            "framing.encoding: with utf-16, frames end",
        ),
        ("ends = ['\\r']\nignore = 'a'", "", "framing.ignore: only control characters mean nothing"),
        (
            "ends = ['\\r']\nansi = true",
            "[check]\nkind = 'sum8'",
            "check: a check cannot prove what is taken out",
        ),
        ("ends = ['\\r']\nprompts = [' ']", "", "framing.prompts.0: it must say more than blanks"),
        (
            "ends = ['\\r']\nprompts = ['> ']",
            "[range_marks]\nabove = ['>']",
            "framing.prompts.0: '> ' cannot be told from a range mark",
        ),
        ("ends = ['\\r']\nstart = 'a'", "[block]", "block: a block is made of lines"),
        ("ends = ['\\r']", "[block]\n[check]\nkind = 'sum8'", "check: a block has none"),
        ("ends = ['\\r']", "[block]\nbegin = ' a'", "block: begin and end are compared without"),
        (
            "ends = ['\\r']",
            "[block]\nbegin = 'a'\nend = 'a'",
            "block.end: the first and the last line begin alike",
        ),
        ("ends = ['\\r\\x00']\nencoding = 'utf-16-le'", "[block]", "block: it is not known for utf-16-le"),
        (
            "ends = ['\\r']\nencoding = 'utf-16-le'",
            "[check]\nkind = 'sum8'",
            "check: it is not known for utf-16-le",
        ),
        (
            "silence_ms = 90",
            "[check]\nkind = 'sum8'\nplace = 'after_end'",
            "check.place: there is no end mark",
        ),
        (
            "ends = ['\\r']",
            "[check]\nkind = 'sum8'\nincludes_end = true",
            "check.includes_end: a check before",
        ),
        (
            "ends = ['\\r']",
            "[check]\nkind = 'sum8'\nwritten = 'bytes_low_first'",
            "check.written: a check as bytes may look like an end mark",
        ),
        (
            "ends = ['\\r']\nencoding = '7bit'",
            "[check]\nkind = 'sum8'\nplace = 'after_end'\nwritten = 'bytes_low_first'",
            "check.written: bytes whose eighth bit",
        ),
        ("ends = ['\\r']", "[time]\nform = 'hh:mm'\nzone = 'here'", "time.zone: 'here' is no zone"),
    ],
)
def test_refuses_framing_that_does_not_fit_together(framing: str, more: str, fault: str) -> None:
    faults = faults_of(changed(("ends = ['\\r\\n']", f"{framing}\n{more}\n")))
    assert any(fault in text for text in faults), faults


FIXED = """
[fixed]
width = 9
[[fixed.records]]
columns = [
    { at = [1, 3], kind = "sample" },
    { at = [5, 8], kind = "value", quantity = "ph", unit = "pH" },
]
"""


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("at = [1, 3], ", "", "fixed.records.0.columns.0.at: a column needs its first and last character"),
        ("at = [1, 3]", "at = [0, 3]", "columns.0.at: a column needs its first and last character"),
        ("at = [1, 3]", "at = [1, 5]", "columns.1.at: it overlaps another column"),
        ("at = [5, 8]", "at = [5, 10]", "columns.1.at: it ends at 10, behind the width of 9"),
        ('"sample"', '"sample", required = false', "columns.0.required: only labelled fields"),
        ('"sample"', '"sample", label = "a"', "columns.0.label: labels of columns need header = true"),
        ('"sample"', '"qualifier"', ""),
        (
            'unit = "pH" },',
            'unit = "pH" },\n{ at = [9, 9], kind = "qualifier" }',
            "columns.2: a qualifier needs",
        ),
        (
            '"sample"',
            '"status", codes = { a = "value" }, words = { b = "" }',
            "columns.0.words: only codes that",
        ),
        (
            "width = 9",
            "width = 9\n[labelled]\nfields = []",
            "labelled.fields: Tuple should have at least 1 item",
        ),
        ("columns = [", 'means = "curve_point"\ncolumns = [', ""),
    ],
)
def test_refuses_fixed_columns_that_do_not_fit_together(old: str, new: str, fault: str) -> None:
    head, rest = GOOD.split("[delimited]")
    tail = "[[examples]]" + rest.split("[[examples]]")[1]
    faults = faults_of(head + FIXED.replace(old, new) + tail)  # the example never fits: it is a delimited one
    assert any(fault in text for text in faults), faults
    assert bool(fault) != all(text.startswith("examples") for text in faults), faults


@pytest.mark.parametrize(
    ("layout", "fault"),
    [
        ("header = true\n", "delimited.records.0.columns.0.label: a label is wanted"),
        ("preamble = 2\n", "delimited.preamble: it belongs to a table with header = true"),
        ("units_row = true\n", "delimited.units_row: it belongs to a table with header = true"),
        ("footer = ['x']\n", "delimited.footer: it belongs to a table with header = true"),
        ("rows = ';'\n", "delimited.rows: rows end with what separates columns"),
    ],
)
def test_refuses_rows_that_do_not_fit_together(layout: str, fault: str) -> None:
    faults = faults_of(changed(('separator = ";"', f'separator = ";"\n{layout}')))
    assert any(fault in text for text in faults), faults


def test_names_every_fault_at_once() -> None:
    faults = faults_of(changed(("[framing]", "[framing]\nmax_length = 1"), ('version = "2"', "versoin = 2")))
    assert len(faults) == 3
    assert {fault.split(":")[0] for fault in faults} == {"framing.max_length", "version", "versoin"}


def test_refuses_a_file_without_a_layout_or_with_two_kinds_of_rows() -> None:
    head, rest = GOOD.split("[delimited]")
    tail = "[[examples]]" + rest.split("[[examples]]")[1]
    assert any("a driver file has one of these tables" in fault for fault in faults_of(head + tail))
    both = head + FIXED + "[delimited]" + rest
    assert any("a driver file has one of these tables" in fault for fault in faults_of(both))


LABELLED = """
[labelled]
label_end = "="
fields = [{ label = "T", kind = "value", quantity = "temperature", unit = "°C" }]
"""


def test_labelled_messages_may_come_beside_rows_that_begin_with_a_constant() -> None:
    factory = factory_from_text(GOOD.replace("[[examples]]", f"{LABELLED}\n[[examples]]"), "meter.toml")
    assert [reading.text for reading in read(factory, b"M;W-7;3.41\r\nT= 21.4\r\nM;W-8\r\n")] == [
        "3.41",
        "21.4",
    ]
    fixed = FIXED.replace('kind = "sample"', 'kind = "constant", text = "PH"').replace("[5, 8]", "[5, 9]")
    head, rest = GOOD.split("[delimited]")
    tail = "[[examples]]" + rest.split("[[examples]]")[1].replace("M;W-1;3.41", "PH   3.41")
    factory = factory_from_text(head + fixed + LABELLED + tail, "meter.toml")
    assert [reading.text for reading in read(factory, b"PH   3.41\r\nT= 21.4\r\nPX   3.41\r\n")] == [
        "3.41",
        "21.4",
    ]


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('{ kind = "constant", text = "M" },', "", "labelled: beside rows that all begin with a constant"),
        (
            'separator = ";"',
            'separator = ";"\nrows = "/"',
            "labelled: it cannot stand beside frames of several",
        ),
    ],
)
def test_refuses_labelled_messages_beside_rows_like_them(old: str, new: str, fault: str) -> None:
    text = changed((old, new)).replace("[[examples]]", f"{LABELLED}\n[[examples]]")
    faults = faults_of(text)
    assert any(fault in one for one in faults), faults


def test_refuses_two_records_that_nothing_tells_apart() -> None:
    record = '[[delimited.records]]\ncolumns = [{ kind = "constant", text = "M" }]\n[[examples]]'
    assert any(
        "two records begin with M" in fault for fault in faults_of(GOOD.replace("[[examples]]", record))
    )


def test_refuses_text_that_is_not_toml_with_its_place() -> None:
    (fault,) = faults_of("name = no\n")
    assert fault.startswith("it is not TOML: ")
    assert "line 1" in fault


def test_refuses_a_key_that_comes_twice() -> None:
    assert "it is not TOML" in faults_of(changed(('version = "2"', 'version = "2"\nversion = "3"')))[0]


def test_a_missing_file_is_one_clear_line(tmp_path: Path) -> None:
    with pytest.raises(DriverFileError, match=r"absent\.toml is refused: it cannot be read: No such file"):
        factory_from_path(tmp_path / "absent.toml")


def test_a_file_that_is_not_utf_8_is_one_clear_line(tmp_path: Path) -> None:
    path = tmp_path / "latin.toml"
    path.write_bytes(b"name = '\xb0'")
    with pytest.raises(DriverFileError, match="not UTF-8 at byte 9; save it as UTF-8"):
        factory_from_path(path)


def test_the_first_line_is_trusted_where_half_a_line_cannot_look_whole() -> None:
    assert isinstance(events_of(factory_from_text(GOOD, "a"), [b"M;W-1;3.41\r\n"])[0], FrameRead)


def test_the_first_line_is_distrusted_where_half_a_line_may_look_whole() -> None:
    factory = factory_from_text(changed(('{ kind = "constant", text = "M" },', ""), ("'M;W-1", "'W-1")), "a")
    assert [reading.text for reading in read(factory, b"W-1;13.41\r\nW-2;3.41\r\n")] == ["3.41"]


def test_the_first_line_is_trusted_if_the_file_says_so() -> None:
    changes = (
        ('{ kind = "constant", text = "M" },', ""),
        ("'M;W-1", "'W-1"),
        ("[tokens]", "distrust_first = false\n[tokens]"),
    )
    assert [reading.text for reading in read(factory_from_text(changed(*changes), "a"), b"W-1;3.4\r\n")] == [
        "3.4"
    ]
