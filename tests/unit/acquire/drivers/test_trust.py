"""The first frame is trusted only where its second half can never look whole."""

import pytest

from acquire.drivers.data_only import factory_from_text
from acquire.drivers.trust import first_frame_is_sure

MARKED = (
    '[delimited]\nseparator = ";"\n[[delimited.records]]\ncolumns = [{ kind = "constant", text = "M" }, %s]'
)
PLAIN = '[delimited]\nseparator = ";"\n[[delimited.records]]\ncolumns = [%s]'
LABELLED = "[labelled]\nfields = [%s%s]"
VALUE = '{ kind = "value", quantity = "ph", unit = "pH" }'
LABELLED_VALUE = '{ label = "pH", kind = "value", quantity = "ph", unit = "pH" }'
SECOND = '\n[[delimited.records]]\ncolumns = [{ kind = "constant", text = "%s" }]'


def is_sure(framing: str, layout: str, raw: str, check: str = "") -> bool:
    text = f"""
name = "meter"
version = "1"
[framing]
ends = ['\\r']
{framing}
{check}
{layout}
[[examples]]
raw = '{raw}'
expect = [{{ quantity = "ph", value = "3.41" }}]
"""
    return first_frame_is_sure(factory_from_text(text, "meter.toml").definition)


def test_a_row_of_values_alone_is_not_sure() -> None:
    assert not is_sure("", PLAIN % VALUE, r"3.41\r")


def test_a_constant_first_column_makes_it_sure() -> None:
    assert is_sure("", MARKED % VALUE, r"M;3.41\r")


@pytest.mark.parametrize(("mark", "sure"), [("N", True), ("KM", False)])
def test_a_mark_that_ends_like_another_makes_it_unsure(mark: str, sure: bool) -> None:
    assert is_sure("", MARKED % VALUE + SECOND % mark, r"M;3.41\r") is sure


def test_a_start_mark_makes_it_sure() -> None:
    assert is_sure(r"start = '\x02'", PLAIN % VALUE, r"\x023.41\r")


def test_a_check_of_16_bits_makes_it_sure() -> None:
    assert is_sure("", PLAIN % VALUE, r"3.417DB8\r", '[check]\nkind = "crc16-modbus"')


def test_a_check_of_8_bits_does_not() -> None:
    assert not is_sure("", PLAIN % VALUE, r"3.41C6\r", '[check]\nkind = "sum8"')


@pytest.mark.parametrize(
    ("other", "sure"),
    [
        ("", True),
        ('{ label = "no", kind = "ignore", required = false }, ', True),
        ('{ label = "id", kind = "sample", required = false }, ', False),
    ],
)
def test_labels_make_it_sure_unless_a_field_may_be_missing(other: str, sure: bool) -> None:
    assert is_sure("", LABELLED % (other, LABELLED_VALUE), r"pH 3.41\r") is sure


def test_a_label_that_ends_like_another_makes_it_unsure() -> None:
    other = '{ label = "apH", kind = "ignore", required = false }, '
    assert not is_sure("", LABELLED % (other, LABELLED_VALUE), r"pH 3.41\r")
