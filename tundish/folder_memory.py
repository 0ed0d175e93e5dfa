"""What the store holds of the files of a line, for the line that follows them."""

from collections.abc import Iterable, Iterator, Sequence
from pathlib import PurePath

from acquire.lines.folder_notes import FileNote
from storage.queries import chunks_after
from storage.queries.files import FileCapture, captures_of_file, newest_capture_of_each_file
from storage.store import Store

CHUNKS_AT_A_TIME = 64


class StoredFiles:
    """The files of one line; each question is a short transaction of its own, from any thread."""

    def __init__(self, store: Store, line: str) -> None:
        self._store = store
        self._line = line

    def newest(self) -> Iterable[FileNote]:
        """Return the newest capture of each file that was ever read, oldest first."""
        with self._store.reader() as connection:
            captures = newest_capture_of_each_file(connection, self._line)
        return [_note(one) for one in captures]

    def notes(self, name: str) -> Sequence[FileNote]:
        """Return all captures of files of that name, oldest first, wherever the folder was then."""
        with self._store.reader() as connection:
            devices = [one.device for one in newest_capture_of_each_file(connection, self._line)]
            found = [
                capture
                for device in devices
                if PurePath(device).name == name
                for capture in captures_of_file(connection, self._line, device)
            ]
        return [_note(one) for one in sorted(found)]

    def heard(self, capture: int) -> Iterator[bytes]:
        """Yield the heard bytes of a capture in pieces, in order."""
        after = 0
        while True:
            with self._store.reader() as connection:
                chunks = chunks_after(connection, capture, after=after, limit=CHUNKS_AT_A_TIME)
            if not chunks:
                return
            yield from (chunk.data for chunk in chunks)
            after = chunks[-1].number


def _note(capture: FileCapture) -> FileNote:
    name = PurePath(capture.device).name
    return FileNote(capture.number, name, capture.settings, capture.ending, capture.why)
