"""What is written into a driver file means the same bytes when it is read."""

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.drivers.escapes import Encoding, bytes_of
from acquire.learning.toml_file import driver_text, escaped


@pytest.mark.parametrize("encoding", ["ascii", "7bit", "utf-8", "cp1252"])
@given(data=st.one_of(st.binary(max_size=60), st.text(max_size=40).map(str.encode)))
def test_any_bytes_come_back(encoding: Encoding, data: bytes) -> None:
    assert bytes_of(escaped(data, encoding), encoding) == data


@given(data=st.binary(max_size=60), label=st.text(max_size=20))
def test_any_text_comes_back_through_the_file(data: bytes, label: str) -> None:
    raw = escaped(data, "ascii")
    tables = {
        "framing": {"ends": [raw], "start": raw},
        "tokens": {"no_value": [label]},
        "units": {label: "g"},
    }
    read = tomllib.loads(driver_text({"name": "x"}, tables, [{"raw": raw, "expect": [{"text": label}]}]))
    assert read["framing"] == {"ends": [raw], "start": raw}
    assert read["tokens"] == {"no_value": [label]}
    assert read["units"] == {label: "g"}
    assert read["examples"] == [{"raw": raw, "expect": [{"text": label}]}]
