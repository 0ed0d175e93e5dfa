import pytest

from acquire.config import FlowControl, Parity, SerialSettings, UsbIdentity


@pytest.mark.parametrize(
    ("settings", "text"),
    [
        (SerialSettings(), "9600 8N1"),
        (SerialSettings(1200, 7, Parity.EVEN, 2), "1200 7E2"),
        (SerialSettings(stop_bits=1.5, flow_control=FlowControl.XON_XOFF), "9600 8N1.5 xon_xoff"),
    ],
)
def test_line_settings_are_written_the_short_way(settings: SerialSettings, text: str) -> None:
    assert str(settings) == text


def test_a_usb_identity_is_written_with_what_it_names() -> None:
    assert str(UsbIdentity(0x1A2B, 0x3, serial="S7")) == "1a2b:0003 serial S7"
