"""An instrument that says one short numbered word a second of work."""

from simulators.instrument import Manner, Message


class Speaker:
    """Say ``#1``, ``#2`` …, each ended by LF, at 1 s, 2 s … of work."""

    def __init__(self, name: str = "talk-1", manner: Manner = Manner.PUSHES) -> None:
        self.name = name
        self.manner = manner
        self.said = 0
        self.restarts = 0

    @property
    def next_due_s(self) -> float:
        return float(self.said + 1)

    def advance(self, to_s: float) -> list[Message]:
        first, self.said = self.said + 1, max(self.said, int(to_s + 1e-9))
        return [Message(b"#%d\n" % number, {"number": number}) for number in range(first, self.said + 1)]

    def restart(self) -> list[Message]:
        self.restarts += 1
        return [Message(b"hello\n")]

    def command(self, words: list[str]) -> list[Message]:
        if words != ["again"]:
            raise ValueError("no such button")
        return [Message(b"again\n")]


class Answerer(Speaker):
    """Answers every ``?`` with ``!``, says nothing by itself, and may measure beyond its range."""

    next_due_s = float("inf")
    ailments = frozenset({"over_range"})

    def __init__(self) -> None:
        super().__init__()
        self.ailing: set[str] = set()

    def hear(self, data: bytes, now_s: float) -> list[Message]:
        return [Message(b"!")] * data.count(b"?")

    def suffer(self, name: str, *, begins: bool) -> list[Message]:
        (self.ailing.add if begins else self.ailing.discard)(name)
        return []
