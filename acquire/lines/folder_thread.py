"""The thread that follows a folder, so that a share that does not answer holds nobody else up."""

import threading
from collections.abc import Callable

from acquire.clock import Clock, now
from acquire.config import FolderSource
from acquire.lines.folder_watch import FolderWatch, Give
from acquire.lines.handover import Handover, HandoverClosedError
from acquire.lines.transport import End
from acquire.sink import Ending

MakeWatch = Callable[[Give, threading.Event], FolderWatch]


class FolderThread:
    """Follows a folder from one opening to its loss or stop."""

    def __init__(self, source: FolderSource, make_watch: MakeWatch, handover: Handover, clock: Clock) -> None:
        self._source = source
        self._handover = handover
        self._clock = clock
        self._stopping = threading.Event()
        self._watch = make_watch(handover.give, self._stopping)
        self._thread = threading.Thread(target=self._run, name=f"folder {source.folder}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End after the part of a file that is under way. Returns at once."""
        self._stopping.set()

    def join(self, limit_s: float) -> bool:
        """Wait for the end; False if the thread hangs in the system. [s]"""
        self._thread.join(limit_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        try:
            while not self._stopping.is_set():
                self._watch.once()
                self._stopping.wait(self._source.poll_s)
            self._handover.end(End(Ending.STOPPED, "the line was stopped", now(self._clock)))
        except HandoverClosedError:
            pass
        except OSError as error:
            why = f"folder {self._source.folder} cannot be read any more: {error.strerror or error}"
            self._handover.end(End(Ending.LOST, why, now(self._clock)))
        except Exception as error:  # whoever awaits the bytes must get it, whatever it is
            self._handover.fail(error)
