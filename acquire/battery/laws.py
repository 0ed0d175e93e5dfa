"""The laws: bytes in, events out, whatever the bytes and however they come.

Each is a function that raises `BrokenLawError` if a driver breaks it. Chance is seeded: a law that is broken
once is broken again.
"""

import random
import tracemalloc
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Final

from acquire.accounting import Account
from acquire.battery.subject import Law, Subject, demand
from acquire.events import Event, FrameRead, FrameRefused, Instant

SEED: Final = 20251006
PIECE_BYTES: Final = 4096  # as much as a busy port gives at a time [bytes]
ENDLESS_BYTES: Final = 10_000_000  # [bytes]
MOST_MEMORY_BYTES: Final = 5_000_000  # [bytes]
RANDOM_BYTES: Final = 1_000_000  # [bytes]
MIXTURES: Final = 60  # of messages and noise that are tried
MOST_DAMAGED: Final = 3  # messages of which every byte is changed
MOST_NOISE: Final = 40  # [characters]
REFUSED_SHARE: Final = 0.9  # of bytes without meaning and without an end, the least that must be refused
_NO_TIME: Final = Instant(utc_us=0, monotonic_ns=0)


def its_own_messages_are_read(subject: Subject) -> None:
    """Each message is read on its own, and all of them one after the other."""
    for message in subject.messages:
        events = subject.hear([message])
        demand(any(isinstance(event, FrameRead) for event in events), f"{message!r} is not read: {events}")
        behind_lead = [event for event in events if event.span.offset >= len(subject.rehearsal.lead)]
        refused = [event for event in behind_lead if isinstance(event, FrameRefused)]
        demand(not refused, f"{message!r} is refused: {refused}")
    together = subject.said(*subject.messages)
    singly = [one for message in subject.messages for one in subject.said(message)]
    demand(together == singly, f"all messages say {together}, each on its own {singly}")


def pieces_make_no_difference(subject: Subject) -> None:
    """Whole, byte by byte and cut anywhere give the same events, whatever comes."""
    chance = random.Random(SEED)  # noqa: S311 - cuts, nothing secret
    for _ in range(MIXTURES):
        mixture = [_mixed(subject, chance) for _ in range(chance.randrange(4))]
        whole = subject.hear(*([message] for message in mixture))
        singly = subject.hear(*([bytes([byte]) for byte in message] for message in mixture))
        demand(singly == whole, f"{mixture} gives {singly} byte by byte, but {whole} whole")
        pieces = [_cut(message, chance) for message in mixture]
        cut = subject.hear(*pieces)
        demand(cut == whole, f"{pieces} gives {cut}, but {whole} whole")


def part_of_a_message_says_nothing(subject: Subject) -> None:
    """No message that stops anywhere says anything, and none that begins anywhere says something else."""
    unled = replace(subject, rehearsal=replace(subject.rehearsal, lead=b""))
    for message in subject.messages:
        whole = subject.said(message)
        for place in range(len(message)):
            stopped = subject.said(message[:place], hang_up=True)
            demand(not stopped, f"{message[:place]!r} of {message!r} says {stopped}")
            late = [] if subject.rehearsal.begins_whole else unled.said(message[place:])
            demand(late in ([], whole), f"{message[place:]!r} of {message!r} says {late}")


def no_changed_byte_changes_a_value(subject: Subject) -> None:
    """Whatever single byte of a checked message is damaged, it says what was sent, or nothing."""
    if not subject.rehearsal.checked:
        return
    last = subject.messages[-1]
    for message in subject.messages[:MOST_DAMAGED]:
        sent = subject.said(message) + subject.said(last)
        for place in range(len(message)):
            damaged = [message[:place] + bytes([byte]) + message[place + 1 :] for byte in range(256)]
            wrong = [
                one
                for one in subject.said(*(two for one in damaged for two in (one, last)))
                if one not in sent
            ]
            demand(not wrong, f"{message!r} with some other byte at {place} says {wrong}")


def noise_before_costs_one_message_at_most(subject: Subject) -> None:
    """Noise spoils at most the message that it runs into; those behind it are read."""
    chance = random.Random(SEED)  # noqa: S311 - noise, nothing secret
    first, *others = subject.messages if len(subject.messages) > 1 else subject.messages * 2
    wanted = subject.said(*others)
    for _ in range(MIXTURES):
        noise = chance.randbytes(subject.rehearsal.unit * chance.randrange(1, MOST_NOISE))
        said = subject.said_in(subject.hear([noise, first], *([message] for message in others)))
        behind = said[len(said) - len(wanted) :]
        demand(behind == wanted, f"behind the noise {noise!r}, {others} says {behind}")


def bytes_without_an_end_stay_bounded(subject: Subject) -> None:
    """No line that never ends, be it noise or a message that lost its end, can fill the memory."""
    refused = _endless(subject, b"A" * PIECE_BYTES)
    demand(
        refused >= REFUSED_SHARE * ENDLESS_BYTES,
        f"it refused only {refused} of {ENDLESS_BYTES} bytes without meaning",
    )
    endless = subject.messages[0][:-1]
    _endless(subject, endless * (PIECE_BYTES // len(endless) + 1), ENDLESS_BYTES // 10)


def random_bytes_raise_nothing(subject: Subject) -> None:
    """Any bytes at all give events that name every byte, and nothing else."""
    data = random.Random(SEED).randbytes(RANDOM_BYTES)  # noqa: S311 - noise, nothing secret
    subject.hear(*([data[at : at + PIECE_BYTES]] for at in range(0, RANDOM_BYTES, PIECE_BYTES)))


LAWS: Final[tuple[Law, ...]] = (
    its_own_messages_are_read,
    pieces_make_no_difference,
    part_of_a_message_says_nothing,
    no_changed_byte_changes_a_value,
    noise_before_costs_one_message_at_most,
    bytes_without_an_end_stay_bounded,
    random_bytes_raise_nothing,
)


def _mixed(subject: Subject, chance: random.Random) -> bytes:
    """Return messages with noise between them, and parts of messages."""
    parts = []
    for _ in range(chance.randrange(4)):
        message = chance.choice(subject.messages)
        noise = chance.randbytes(chance.randrange(12))
        parts.append(chance.choice((message, message, message[: chance.randrange(len(message))], noise)))
    return b"".join(parts)


def _cut(message: bytes, chance: random.Random) -> Sequence[bytes]:
    places = sorted({0, len(message), *(chance.randrange(len(message) + 1) for _ in range(6))})
    return [message[begin:end] for begin, end in pairwise(places)]


def _endless(subject: Subject, piece: bytes, total: int = ENDLESS_BYTES) -> int:
    """Feed a piece again and again; return how many bytes were refused. [bytes]"""
    account = Account(subject.factory)
    refused = 0
    tracemalloc.start()
    try:
        for _ in range(total // len(piece)):
            refused += _refused_bytes(account.receive(piece, _NO_TIME))
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    demand(peak < MOST_MEMORY_BYTES, f"{total} bytes without an end took {peak} bytes of memory")
    return refused


def _refused_bytes(events: Sequence[Event]) -> int:
    return sum(event.span.length for event in events if isinstance(event, FrameRefused))
