"""The one thread that runs every line: wait for a port, a deadline or a word of control, then act."""

import json
import os
import selectors
import signal
import socket
import threading
from collections.abc import Callable, Sequence
from typing import Final

from simulators.channel import Channel
from simulators.clock import Clock

PARKED_LOOK_S: Final = 0.05  # [s], between two looks at ports that nobody has open
LONGEST_WAIT_S: Final = 60.0  # [s], also when nothing is due
CONTROL_HELP: Final = "write: fault INSTRUMENT NAME [SECONDS] | press INSTRUMENT BUTTON [WORDS] | quit"


class Loop:
    """Turn channels until told to stop.

    Control comes as lines of text over a socket pair, from standard input and from signals alike.
    """

    def __init__(self, channels: Sequence[Channel], clock: Clock, say: Callable[[str], None] = print) -> None:
        self._channels = {channel.instrument.name: channel for channel in channels}
        self._clock = clock
        self._say = say
        self._selector = selectors.DefaultSelector()
        self._watched: dict[str, tuple[int, int]] = {}
        self._due_s: dict[str, float] = dict.fromkeys(self._channels, 0.0)
        self._next_look_s = 0.0
        self._control, self._control_writer = socket.socketpair()
        self._control.settimeout(0.0)
        self._selector.register(self._control, selectors.EVENT_READ)
        self._words = b""
        self._is_done = False
        self.stopped = False

    def tell(self, line: str) -> None:
        """Give one line of control; safe from a signal handler and from another thread."""
        self._control_writer.send(line.encode() + b"\n")

    def run(self) -> None:
        """Turn until stopped, then remove every port."""
        try:
            while not self.stopped:
                self.turn(self._wait_s())
        finally:
            self.close()

    def turn(self, wait_s: float = 0.0) -> None:
        """Wait at most this long for something to happen, then do all that is due. [s]"""
        woken: set[str] = set()
        for key, _ in self._selector.select(wait_s):
            woken.update([key.data] if key.data else self._take_control())
        for name in self._due() | woken:
            channel = self._channels[name]
            channel.turn()
            self._watch(name, channel)
            self._due_s[name] = channel.next_wall_s()
        if not self._is_done and all(channel.is_done for channel in self._channels.values()):
            self._is_done = True
            self._say("done")

    def close(self) -> None:
        """Remove every port and give back every descriptor."""
        for channel in self._channels.values():
            channel.close()
        self._selector.close()
        self._control.close()
        self._control_writer.close()

    def _due(self) -> set[str]:
        """Return the lines whose time has come, and now and then those that only a look can tell about."""
        now_s = self._clock.wall_s()
        due = {name for name, due_s in self._due_s.items() if due_s <= now_s}
        if now_s >= self._next_look_s:
            self._next_look_s = now_s + PARKED_LOOK_S
            due |= {name for name, channel in self._channels.items() if not channel.is_heard}
        return due

    def _wait_s(self) -> float:
        parked = any(not channel.is_heard for channel in self._channels.values())
        deadline_s = min(self._due_s.values(), default=float("inf"))
        wait_s = max(
            0.0, min(deadline_s, self._next_look_s if parked else float("inf")) - self._clock.wall_s()
        )
        return min(wait_s, LONGEST_WAIT_S)

    def _watch(self, name: str, channel: Channel) -> None:
        """Wait on a port only while it is heard: a hung-up terminal would wake the thread without end."""
        events = 0
        if channel.is_heard:
            events = selectors.EVENT_READ | (selectors.EVENT_WRITE if channel.wants_to_put else 0)
        wanted = (channel.port.fileno(), events) if events else (-1, 0)
        watched = self._watched.get(name, (-1, 0))
        if wanted == watched:
            return
        if watched[0] >= 0:
            self._selector.unregister(watched[0])
        if wanted[0] >= 0:
            self._selector.register(wanted[0], wanted[1], name)
        self._watched[name] = wanted

    def _take_control(self) -> set[str]:
        """Obey what was told and return the lines to turn: any of them may have been meant."""
        self._words += self._control.recv(4096)
        *lines, self._words = self._words.split(b"\n")
        for line in lines:
            try:
                self._obey(line.decode(errors="replace").split())
            except ValueError as error:
                self._say(f"not done: {error}; {CONTROL_HELP}")
        return set(self._channels)

    def _obey(self, words: list[str]) -> None:
        match words:
            case ["quit"]:
                self.stopped = True
            case ["fault", name, fault, *duration]:
                self._channel(name).strike(fault, float(duration[0]) if duration else None)
            case ["press", name, *button]:
                self._channel(name).press(button)
            case ["status"]:
                self._say(json.dumps({name: one.is_heard for name, one in self._channels.items()}))
            case []:
                pass
            case _:
                raise ValueError(f"{' '.join(words)!r} is no word of control")

    def _channel(self, name: str) -> Channel:
        if name not in self._channels:
            raise ValueError(f"no instrument {name!r}; there are: {', '.join(self._channels)}")
        return self._channels[name]


def stop_on_signals(loop: Loop) -> None:
    """Let SIGTERM and SIGINT end the loop in order."""
    for number in (signal.SIGTERM, signal.SIGINT):
        signal.signal(number, lambda *_: loop.tell("quit"))


def follow_standard_input(loop: Loop) -> None:
    """Take lines of control from standard input; its end, which is the parent's end, ends the loop."""

    def follow() -> None:
        words = b""
        while data := os.read(0, 4096):
            *lines, words = (words + data).split(b"\n")
            for line in lines:
                loop.tell(line.decode(errors="replace"))
        loop.tell("quit")

    threading.Thread(target=follow, name="control", daemon=True).start()
