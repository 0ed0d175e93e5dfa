"""What the Linux kernel knows of its own clock, asked without changing anything.

The layout is that of ``struct timex`` in Linux (include/uapi/linux/timex.h), whose fields have had the same
order and types on every architecture with the C library's own call.
"""

import ctypes
import errno
import os
from typing import ClassVar, Final, NamedTuple

STA_UNSYNC: Final = 0x0040  # "clock unsynchronized", Linux include/uapi/linux/timex.h
PADDING_INTS: Final = 11  # room that the kernel keeps for later fields, same file


class _Timex(ctypes.Structure):
    _fields_: ClassVar = [
        ("modes", ctypes.c_uint),
        ("offset", ctypes.c_long),
        ("freq", ctypes.c_long),
        ("maxerror", ctypes.c_long),
        ("esterror", ctypes.c_long),
        ("status", ctypes.c_int),
        ("constant", ctypes.c_long),
        ("precision", ctypes.c_long),
        ("tolerance", ctypes.c_long),
        ("time_sec", ctypes.c_long),
        ("time_usec", ctypes.c_long),
        ("tick", ctypes.c_long),
        ("ppsfreq", ctypes.c_long),
        ("jitter", ctypes.c_long),
        ("shift", ctypes.c_int),
        ("stabil", ctypes.c_long),
        ("jitcnt", ctypes.c_long),
        ("calcnt", ctypes.c_long),
        ("errcnt", ctypes.c_long),
        ("stbcnt", ctypes.c_long),
        ("tai", ctypes.c_int),
        ("padding", ctypes.c_int * PADDING_INTS),
    ]


class KernelClock(NamedTuple):
    """How the kernel judges its clock."""

    synchronised: bool
    """Whether a time service steers it and was heard of lately."""
    max_error_us: int
    """How far it may be off, as the time service told it and the time since then made it grow. [µs]"""


def kernel_clock() -> KernelClock:
    """Ask the kernel. Raises `OSError` if it does not answer, `AttributeError` if there is no such call."""
    call = ctypes.CDLL(None, use_errno=True).adjtimex
    answer = _Timex()  # modes = 0: only read
    if call(ctypes.byref(answer)) == -1:
        number = ctypes.get_errno() or errno.ENOSYS
        raise OSError(number, os.strerror(number))
    return KernelClock(not answer.status & STA_UNSYNC, answer.maxerror)
