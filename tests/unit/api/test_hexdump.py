from hypothesis import given
from hypothesis import strategies as st

from api.hexdump import hex_rows, visible_text


@given(st.binary(max_size=100), st.integers(min_value=0, max_value=10**12))
def test_the_rows_hold_every_byte_at_its_place(data: bytes, offset: int) -> None:
    rows = hex_rows(data, offset)
    assert bytes.fromhex(" ".join(row.hexadecimal for row in rows)) == data
    assert [row.offset for row in rows] == list(range(offset, offset + len(data), 16))


@given(st.binary(max_size=100))
def test_the_text_shows_one_sign_a_byte(data: bytes) -> None:
    assert len(visible_text(data)) == len(data)
    assert visible_text(data).isprintable()


def test_what_cannot_be_printed_is_a_dot() -> None:
    assert visible_text(b"pH 3.41\r\n\xff") == "pH 3.41···"
