"""A file that is thrown overboard when the disk is full, so that what waits can still be written."""

import shutil
from pathlib import Path
from typing import Final

SIZE_BYTES: Final = 16 * 2**20
ROOM_FACTOR: Final = 4  # free room, in ballasts, that must be there: never the cause of the next full disk
_BLOCK: Final = b"\xa5" * 2**20  # not zeros: a file system may keep those as a hole that holds no space


class Ballast:
    """Space kept beside a store."""

    def __init__(self, store: Path, size_bytes: int = SIZE_BYTES) -> None:
        self._path = store.with_name(store.name + ".ballast")
        self._size_bytes = size_bytes

    @property
    def is_aboard(self) -> bool:
        """Whether the space is there to be given up."""
        return self._path.exists()

    def load(self) -> bool:
        """Take the space if the disk has it to spare; tell whether it is there now."""
        if self.is_aboard:
            return True
        try:
            if shutil.disk_usage(self._path.parent).free < ROOM_FACTOR * self._size_bytes:
                return False
            with self._path.open("wb") as file:
                for begin in range(0, self._size_bytes, len(_BLOCK)):
                    file.write(_BLOCK[: self._size_bytes - begin])
        except OSError:
            self.drop()
            return False
        return True

    def drop(self) -> None:
        """Give the space back to the disk."""
        self._path.unlink(missing_ok=True)
