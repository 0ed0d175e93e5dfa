"""Keep other users' programs off an open device; the library's own lock is only advice."""

import sys

import serial

from acquire.lines.port_faults import FAULTS

if sys.platform == "win32":

    def claim(_port: serial.Serial) -> None:
        """Do nothing: the system opens a port for one program only."""

    def disclaim(_port: serial.Serial) -> None:
        """Do nothing."""
else:
    import contextlib
    import fcntl
    import termios

    def claim(port: serial.Serial) -> None:
        """Let nobody else open this device; on an error the port is closed and the error raised."""
        if _is_device(port):
            try:
                fcntl.ioctl(port.fileno(), termios.TIOCEXCL)
            except FAULTS:
                port.close()
                raise

    def disclaim(port: serial.Serial) -> None:
        """Let others open it again: the mark would outlive us if another program has it open too."""
        if _is_device(port):
            with contextlib.suppress(*FAULTS):
                fcntl.ioctl(port.fileno(), termios.TIOCNXCL)

    def _is_device(port: serial.Serial) -> bool:
        return "://" not in str(port.port)
