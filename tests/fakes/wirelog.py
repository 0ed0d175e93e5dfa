"""A wire log in memory."""

from dataclasses import dataclass

from simulators.wirelog import Kind, Meaning


@dataclass(frozen=True, slots=True)
class Entry:
    """One entry as it was written."""

    utc_us: int
    instrument: str
    kind: Kind
    data: bytes
    meaning: Meaning | None


class MemoryWireLog:
    """Keep entries in a list."""

    def __init__(self) -> None:
        self.entries: list[Entry] = []

    def write(
        self, utc_us: int, instrument: str, kind: Kind, data: bytes = b"", meaning: Meaning | None = None
    ) -> None:
        self.entries.append(Entry(utc_us, instrument, kind, data, meaning))

    def bytes_of(self, kind: Kind) -> bytes:
        return b"".join(entry.data for entry in self.entries if entry.kind == kind)

    def meanings_of(self, kind: Kind) -> list[Meaning | None]:
        return [entry.meaning for entry in self.entries if entry.kind == kind]
