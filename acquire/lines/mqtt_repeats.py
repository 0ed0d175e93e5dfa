"""Tell a message that a broker sends again from a new one."""

from collections import OrderedDict
from hashlib import sha256
from typing import Final

from acquire.lines.mqtt_connection import Message

REMEMBERED: Final = 64  # messages; a broker has at most as many under way as we allowed it, which is fewer


class Repeats:
    """Remember what was acknowledged last: the broker may not have got the word.

    A message is known if the broker marks it as sent again, and number and payload are those of one that was
    acknowledged. A number alone would not do, since brokers use them again.
    """

    def __init__(self) -> None:
        self._acknowledged: OrderedDict[int, bytes] = OrderedDict()

    def acknowledged(self, message: Message) -> None:
        """Remember a message as kept and acknowledged."""
        self._acknowledged.pop(message.number, None)
        self._acknowledged[message.number] = sha256(message.payload).digest()
        while len(self._acknowledged) > REMEMBERED:
            self._acknowledged.popitem(last=False)

    def knows(self, message: Message) -> bool:
        """Tell whether this message was acknowledged before and comes once more."""
        known = self._acknowledged.get(message.number)
        return message.sent_again and known == sha256(message.payload).digest()
