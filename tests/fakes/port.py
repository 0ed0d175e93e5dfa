"""A port in memory, for lines whose reader is the test itself."""


class MemoryPort:
    """A port that a test listens to, limits and cuts."""

    address = "memory"

    def __init__(self, *, heard: bool = True, room_bytes: int = 1_000_000) -> None:
        self.heard = heard
        self.room_bytes = room_bytes
        self.is_cut = False
        self.is_closed = False
        self.got = b""
        self.sent_back = b""

    def fileno(self) -> int:
        return -1

    def is_heard(self) -> bool:
        return self.heard and not self.is_cut

    def put(self, data: bytes) -> int:
        count = min(len(data), self.room_bytes)
        self.room_bytes -= count
        self.got += data[:count]
        return count

    def take(self) -> bytes:
        data, self.sent_back = self.sent_back, b""
        return data

    def cut(self) -> None:
        self.is_cut = True

    def mend(self) -> None:
        self.is_cut = False

    def close(self) -> None:
        self.is_closed = True
