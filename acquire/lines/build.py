"""From the settings of a line to the line."""

from collections.abc import Callable

from acquire.clock import Clock
from acquire.config import CaptureFileSource, FarSource, FolderSource, LineSettings, MqttSource, SerialSource
from acquire.driver import DriverFactory
from acquire.lines.capture_file import CaptureFileLine
from acquire.lines.folder_line import FolderLine
from acquire.lines.folder_notes import FolderMemory, NothingKnown
from acquire.lines.serial_line import SerialLine
from acquire.lines.together import Together
from acquire.lines.transport import Transport

MakeTransport = Callable[[LineSettings, DriverFactory, Clock], Transport]
MemoryOf = Callable[[str], FolderMemory]
"""Returns what was read of the files of a line, by its name."""


def lines_together(clock: Clock, memory_of: MemoryOf | None = None) -> MakeTransport:
    """Return what makes lines that are read together and wake the running event loop together."""
    together = Together.in_running_loop(clock)
    return lambda settings, driver, clock: transport_for(settings, driver, clock, memory_of, together)


def transport_for(
    settings: LineSettings,
    driver: DriverFactory,
    clock: Clock,
    memory_of: MemoryOf | None = None,
    together: Together | None = None,
) -> Transport:
    """Return the closed line that brings the bytes of a source.

    Parameters
    ----------
    settings : LineSettings
        Which line it is, and where its bytes come from.
    driver : DriverFactory
        Reads them; a folder asks it where rows end.
    clock : Clock
        For the arrival.
    memory_of : MemoryOf or None
        What was read of the files of a folder; None if nothing was.
    together : Together or None
        What the line shares with others; None if it is alone.
    """
    match settings.source:
        case SerialSource() as source:
            return SerialLine(source, clock, together=together)
        case CaptureFileSource() as source:
            return CaptureFileLine(source, clock)
        case FolderSource() as source:
            memory = NothingKnown() if memory_of is None else memory_of(settings.name)
            return FolderLine(source, clock, driver, memory)
        case FarSource() as source:
            raise TypeError(f"a line of a far bench has no transport of its own: {source}")
        case MqttSource() as source:
            from acquire.lines.mqtt_line import MqttLine  # its library is slow to load

            return MqttLine(source, clock)
