"""An answer by which the Modbus driver of a line can be tried."""

from acquire.drivers.asking import in_ns
from acquire.protocols.modbus_frames import FUNCTIONS, with_crc
from acquire.protocols.modbus_options import REGISTER_BYTES, ModbusOptions
from acquire.rehearsal import Rehearsal


def rehearsal_of(options: ModbusOptions) -> Rehearsal:
    """Return an answer to the only poll, and the time until it is asked again whatever came before.

    With several polls it depends on what came before which of them is asked next; then there is none.
    """
    if len(options.poll) > 1:
        return Rehearsal()
    [poll] = options.poll
    contents = bytes(range(1, poll.count * REGISTER_BYTES + 1))
    answer = with_crc(bytes([options.device, FUNCTIONS[poll.registers], len(contents)]) + contents)
    pause_ns = in_ns(poll.every_s + 2 * poll.timeout_s + options.pause_s)
    return Rehearsal((answer,), pause_ns=pause_ns, checked=True)
