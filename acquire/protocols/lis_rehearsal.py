"""A transfer by which the LIS driver of a line can be tried: one result of its first test."""

from acquire.protocols.lis_frames import ENQ, framed
from acquire.protocols.lis_options import Lis01Options
from acquire.rehearsal import Rehearsal


def rehearsal_of(options: Lis01Options) -> Rehearsal:
    """Return a call and the frames of one message, as the instrument of these options would send them."""
    code, test = next(iter(options.tests.items()))
    test_id = "^" * (options.code_component - 1) + code
    unit = "" if test.unit is not None else test.codes[0]
    number = options.numbers.decimal.join(("3", "41"))
    records = (
        rf"H|\^&|7||{options.sender or ''}",
        "O|1|W-1",
        f"R|1|{test_id}|{number}|{unit}||||{options.final_status[0]}",
        "L|1",
    )
    frames = [
        framed(place, record.encode(options.encoding) + b"\r")
        for place, record in enumerate(records, start=1)
    ]
    return Rehearsal((ENQ + b"".join(frames),), checked=True)
