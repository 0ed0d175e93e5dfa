"""A pseudo-terminal behind a name that stays: a plug that can be pulled and pushed back."""

import fcntl
import os
import tty
from pathlib import Path

TIOCGEXCL = 0x80045440  # Linux asm-generic/ioctls.h: read what TIOCEXCL set


class PluggedTerminal:
    """The far end of a serial line. The near end is opened by `path`, a link like a port's stable name."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._far: int | None = None
        self._near: int | None = None

    def plug(self) -> None:
        """Make the port appear."""
        self._far, self._near = os.openpty()
        tty.setraw(self._near)
        self.path.symlink_to(os.ttyname(self._near))

    def unplug(self) -> None:
        """Let the port vanish, as a pulled cable does."""
        self.path.unlink(missing_ok=True)
        for descriptor in (self._near, self._far):
            if descriptor is not None:
                os.close(descriptor)
        self._far = self._near = None

    def write(self, data: bytes) -> None:
        """Send as the instrument does."""
        while data:
            data = data[os.write(self._far_end(), data) :]

    def read(self, size: int) -> bytes:
        """Receive as the instrument does; waits for at least one byte. [bytes]"""
        return os.read(self._far_end(), size)

    @property
    def is_claimed(self) -> bool:
        """Whether the system lets nobody else open the near end."""
        assert self._near is not None, "it is not plugged in"
        answer = fcntl.ioctl(self._near, TIOCGEXCL, b"\0\0\0\0")
        return answer != b"\0\0\0\0"

    def _far_end(self) -> int:
        assert self._far is not None, "it is not plugged in"
        return self._far
