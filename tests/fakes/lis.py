"""Frames as an instrument with CLSI LIS01-A2 sends them, made without the code under test."""

from collections.abc import Sequence

ENQ, ACK, NAK, EOT = b"\x05", b"\x06", b"\x15", b"\x04"

OPTIONS: dict[str, object] = {
    "tests": {
        "FSO2": {"quantity": "free_so2", "units": ["mg/L", "ppm"]},
        "PH": {"quantity": "ph", "unit": "pH"},
    },
    "ignored_tests": ["LAMP"],
}
"""Of a line with two tests."""


def frame(number: int, text: str | bytes, end: bytes = b"\x03") -> bytes:
    """Return a frame with its check."""
    body = text if isinstance(text, bytes) else text.encode()
    covered = b"%d" % number + body + end
    return b"\x02" + covered + f"{sum(covered) % 256:02X}".encode() + b"\r\n"


def message(
    *results: str, message_id: str = "77", sample: str = "W-101", end: str = "L|1|N"
) -> tuple[str, ...]:
    """Return the records of a message with these result records."""
    return (
        rf"H|\^&|{message_id}||BENCH^1|||||||P|LIS2-A2|20250903101244",
        "P|1",
        f"O|1|{sample}||^^^SO2",
        *results,
        end,
    )


def result(
    code: str = "FSO2", value: str = "28.5", unit: str = "mg/L", *, number: int = 1, **more: str
) -> str:
    """Return a result record."""
    flag, status = more.get("flag", "N"), more.get("status", "F")
    return f"R|{number}|^^^{code}|{value}|{unit}||{flag}||{status}||||{more.get('time', '20250903101244')}"


def frames(records: Sequence[str]) -> list[bytes]:
    """Return one frame a record, numbered from 1."""
    return [frame((index + 1) % 8, record + "\r") for index, record in enumerate(records)]


def transfer(records: Sequence[str]) -> bytes:
    """Return all bytes of a transfer, as if every frame had been acknowledged."""
    return ENQ + b"".join(frames(records)) + EOT
