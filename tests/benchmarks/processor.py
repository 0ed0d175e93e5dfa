"""How much of the processors one process used, and everybody who is no part of the benchmark."""

import time
from typing import NamedTuple

import psutil

EVERY_S = 0.25
"""How finely the shares are resolved. [s]"""


class Sample(NamedTuple):
    """Processor time up to a moment."""

    at_us: int
    own_s: float
    others_s: float


class Shares(NamedTuple):
    """What was used in a stretch of time. [cores]"""

    own: float
    others: float


class Processor:
    """Follows one process."""

    def __init__(self, process_id: int) -> None:
        self._process = psutil.Process(process_id)
        self._family = [psutil.Process(), *psutil.Process().children(recursive=True)]  # slow to ask for
        self._samples: list[Sample] = []
        self._next_s = 0.0

    def look(self) -> None:
        """Take a sample if it is time for one."""
        if time.monotonic() >= self._next_s:
            self._next_s = time.monotonic() + EVERY_S
            self._samples.append(self._sample())

    def between(self, begin_us: int, end_us: int) -> Shares:
        """Return what was used from one moment to another. [µs]"""
        inside = [sample for sample in self._samples if begin_us <= sample.at_us <= end_us]
        first, last = inside[0], inside[-1]
        took_s = (last.at_us - first.at_us) / 1e6
        return Shares((last.own_s - first.own_s) / took_s, (last.others_s - first.others_s) / took_s)

    def _sample(self) -> Sample:
        ours_s = sum(map(_used_s, self._family))
        return Sample(time.time_ns() // 1000, _used_s(self._process), _busy_s() - ours_s)


def _used_s(process: psutil.Process) -> float:
    times = process.cpu_times()
    return float(times.user + times.system)


def _busy_s() -> float:
    times = psutil.cpu_times()
    idle_s = times.idle + getattr(times, "iowait", 0.0)
    return float(sum(times[:8]) - idle_s)  # what comes after the eighth is counted in the first two already
