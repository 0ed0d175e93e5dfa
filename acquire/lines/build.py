"""From the settings of a line to the line."""

from collections.abc import Callable

from acquire.clock import Clock
from acquire.config import CaptureFileSource, MqttSource, SerialSource, Source
from acquire.lines.capture_file import CaptureFileLine
from acquire.lines.rounds import Rounds
from acquire.lines.serial_line import SerialLine
from acquire.lines.transport import Transport

MakeTransport = Callable[[Source, Clock], Transport]


def in_rounds() -> MakeTransport:
    """Return what makes lines that wake the running event loop together."""
    rounds = Rounds()
    return lambda source, clock: transport_for(source, clock, rounds)


def transport_for(source: Source, clock: Clock, rounds: Rounds | None = None) -> Transport:
    """Return the closed line that brings the bytes of a source."""
    match source:
        case SerialSource():
            return SerialLine(source, clock, rounds=rounds)
        case CaptureFileSource():
            return CaptureFileLine(source, clock)
        case MqttSource():
            from acquire.lines.mqtt_line import MqttLine  # its library is slow to load

            return MqttLine(source, clock)
