"""One line: instrument, faults, port and key."""

from random import Random

import pytest

from simulators.channel import GRACE_S, PENDING_BYTES, Channel
from simulators.clock import ManualClock
from simulators.faults import Fault, FaultBox
from simulators.instrument import Manner
from tests.fakes.port import MemoryPort
from tests.fakes.speaker import Answerer, Speaker
from tests.fakes.wirelog import MemoryWireLog


class Rig:
    """A line with a hand on everything."""

    def __init__(
        self,
        *faults: Fault,
        manner: Manner = Manner.PUSHES,
        heard: bool = True,
        speaker: Speaker | None = None,
    ) -> None:
        self.clock = ManualClock()
        self.port = MemoryPort(heard=heard)
        self.log = MemoryWireLog()
        self.speaker = speaker or Speaker(manner=manner)
        self.channel = Channel(self.speaker, self.port, self.clock, self.log, FaultBox(faults, Random(1)))

    def run(self, wall_s: float) -> None:
        for _ in range(round(wall_s * 10)):
            self.channel.turn()
            self.clock.advance(0.1)
        self.channel.turn()


def test_what_the_instrument_says_arrives_and_is_logged_alike() -> None:
    rig = Rig()
    rig.run(3.0)
    assert rig.port.got == b"#1\n#2\n#3\n"
    assert rig.log.bytes_of("put") == rig.port.got


def test_the_log_carries_the_meaning_and_the_calendar() -> None:
    rig = Rig()
    rig.run(1.0)
    entry = rig.log.entries[-1]
    assert (entry.meaning, entry.utc_us, entry.instrument) == ({"number": 1}, 1_000_000, "talk-1")


def test_a_pushing_instrument_speaks_into_the_void_and_the_log_says_so() -> None:
    rig = Rig(heard=False)
    rig.run(2.0)
    assert rig.port.got == b""
    assert rig.log.bytes_of("unheard") == b"#1\n#2\n"


def test_a_fresh_listener_is_given_time_to_clear_its_port() -> None:
    rig = Rig(heard=False)
    rig.run(1.9)
    rig.port.heard = True
    rig.run(1.1)
    assert GRACE_S > 0.1
    assert rig.port.got == b"#3\n"


def test_the_first_message_waits_for_the_first_listener() -> None:
    rig = Rig(manner=Manner.WAITS_ONCE, heard=False)
    rig.run(5.0)
    rig.port.heard = True
    rig.run(1.0 + GRACE_S + 0.1)
    assert rig.port.got == b"#1\n"
    assert rig.log.bytes_of("unheard") == b""


def test_an_instrument_that_follows_its_reader_says_nothing_to_nobody() -> None:
    rig = Rig(manner=Manner.FOLLOWS_READER, heard=False)
    rig.run(3.0)
    assert (rig.log.bytes_of("unheard"), rig.channel.next_wall_s()) == (b"", float("inf"))


def test_a_full_port_takes_the_rest_later_and_nothing_is_lost() -> None:
    rig = Rig()
    rig.port.room_bytes = 4
    rig.run(2.0)
    assert (bytes(rig.port.got), rig.channel.wants_to_put) == (b"#1\n#", True)
    rig.port.room_bytes = 100
    rig.run(0.1)
    assert rig.port.got == rig.log.bytes_of("put") == b"#1\n#2\n"


def test_the_rest_of_a_message_is_marked_as_continued() -> None:
    rig = Rig()
    rig.port.room_bytes = 1
    rig.run(1.0)
    rig.port.room_bytes = 100
    rig.run(0.1)
    assert rig.log.meanings_of("put") == [{"number": 1}, {"number": 1, "continued": True}]


def test_a_reader_that_never_reads_costs_bounded_memory() -> None:
    rig = Rig()
    rig.port.room_bytes = 0
    rig.run(1.0)
    rig.clock.advance(100_000)
    rig.run(0.2)
    rig.channel.close()
    kept = [entry for entry in rig.log.entries if (entry.meaning or {}).get("why") == "switched off"]
    assert sum(len(entry.data) for entry in kept) <= PENDING_BYTES + 10
    assert rig.log.bytes_of("unheard").count(b"\n") == 100_001


def test_what_waits_when_the_listener_goes_is_logged_as_unheard() -> None:
    rig = Rig()
    rig.port.room_bytes = 1
    rig.run(1.0)
    rig.port.heard = False
    rig.run(0.1)
    assert (rig.log.bytes_of("put"), rig.log.bytes_of("unheard")) == (b"#", b"1\n")


def test_a_cut_cable_takes_the_port_away_and_brings_it_back() -> None:
    rig = Rig(Fault("cut_cable", 1.5, 2.0))
    rig.run(2.0)
    was_cut = rig.port.is_cut
    rig.run(3.0)
    assert (was_cut, rig.port.is_cut) == (True, False)
    assert (rig.port.got, rig.log.bytes_of("unheard")) == (b"#1\n#4\n#5\n", b"#2\n#3\n")


def test_silence_keeps_the_port_and_loses_the_words() -> None:
    rig = Rig(Fault("silence", 1.5, 1.0))
    rig.run(3.0)
    assert (rig.port.got, rig.port.is_cut) == (b"#1\n#3\n", False)


def test_a_power_blip_ends_with_a_restart() -> None:
    rig = Rig(Fault("power_blip", 1.5, 1.0))
    rig.run(3.0)
    assert (rig.port.got, rig.speaker.restarts) == (b"#1\nhello\n#3\n", 1)


def test_a_fault_on_demand_strikes_the_next_message() -> None:
    rig = Rig()
    rig.channel.strike("break", None)
    rig.run(2.0)
    assert rig.port.got == b"\0#1\n#2\n"


def test_the_beginning_and_the_end_of_a_fault_are_logged() -> None:
    rig = Rig(Fault("silence", 1.0, 1.0))
    rig.run(2.5)
    states = [meaning and meaning["state"] for meaning in rig.log.meanings_of("fault")]
    assert states == ["began", "ended"]


def test_what_the_reader_sends_is_logged() -> None:
    rig = Rig()
    rig.port.sent_back = b"*?\r"
    rig.run(0.1)
    assert rig.log.bytes_of("received") == b"*?\r"


def test_a_button_speaks_at_once() -> None:
    rig = Rig()
    rig.run(0.5)
    rig.channel.press(["again"])
    rig.channel.turn()
    assert rig.port.got == b"again\n"


def test_an_unknown_button_is_refused() -> None:
    with pytest.raises(ValueError, match="no such button"):
        Rig().channel.press(["dance"])


def test_what_the_reader_sends_is_answered_at_once_even_before_its_port_has_rested() -> None:
    rig = Rig(speaker=Answerer())
    rig.port.sent_back = b"?"
    rig.channel.turn()
    assert (rig.port.got, rig.log.bytes_of("received")) == (b"!", b"?")


@pytest.mark.parametrize("fault", ["silence", "power_blip", "cut_cable"])
def test_a_line_that_is_out_answers_nothing(fault: str) -> None:
    rig = Rig(Fault(fault, 0.0, 10.0), speaker=Answerer())
    rig.port.sent_back = b"?"
    rig.run(0.2)
    assert rig.port.got == b""


def test_a_line_with_an_echo_gives_back_what_it_gets() -> None:
    rig = Rig(Fault("echo", 0.0, 10.0), speaker=Answerer())
    rig.port.sent_back = b"?"
    rig.run(0.1)
    assert rig.port.got == b"?!"


def test_an_instrument_that_holds_its_reader_up_says_xoff_and_then_xon() -> None:
    rig = Rig(Fault("hold_up", 0.3, 0.3))
    rig.run(0.8)
    assert rig.port.got == b"\x13\x11"


def test_an_ailment_begins_and_ends_with_its_fault() -> None:
    answerer = Answerer()
    rig = Rig(Fault("over_range", 0.3, 0.3), speaker=answerer)
    rig.run(0.4)
    assert answerer.ailing == {"over_range"}
    rig.run(0.6)
    assert answerer.ailing == set()


def test_an_ailment_on_demand_lasts_until_it_ends() -> None:
    answerer = Answerer()
    rig = Rig(speaker=answerer)
    rig.channel.strike("over_range", None)
    rig.run(3.0)
    assert answerer.ailing == {"over_range"}


def test_an_instrument_cannot_have_every_ailment() -> None:
    with pytest.raises(ValueError, match="talk-1 cannot have it; of its own it can have: over_range"):
        Rig(speaker=Answerer()).channel.strike("stuck_stirrer", None)
    with pytest.raises(ValueError, match="of its own it can have: none"):
        Rig().channel.strike("over_range", None)
