"""From the settings of a line to the line."""

from acquire.clock import Clock
from acquire.config import CaptureFileSource, MqttSource, SerialSource, Source
from acquire.lines.capture_file import CaptureFileLine
from acquire.lines.serial_line import SerialLine
from acquire.lines.transport import Transport


def transport_for(source: Source, clock: Clock) -> Transport:
    """Return the closed line that brings the bytes of a source."""
    match source:
        case SerialSource():
            return SerialLine(source, clock)
        case CaptureFileSource():
            return CaptureFileLine(source, clock)
        case MqttSource():
            from acquire.lines.mqtt_line import MqttLine  # its library is slow to load

            return MqttLine(source, clock)
