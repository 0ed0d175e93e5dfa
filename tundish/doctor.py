"""The wiring doctor for the API: the same rules as in `tundish listen`, over what the daemon hears."""

import asyncio
from dataclasses import asdict

from acquire.clock import Clock, now
from acquire.doctor.ward import Ward
from acquire.supervisor import Supervisor
from api.doctor import DoctorHint, DoctorReport


class DaemonDoctor:
    """Examines the lines of a supervisor."""

    def __init__(self, ward: Ward, supervisor: Supervisor, clock: Clock) -> None:
        self._ward = ward
        self._supervisor = supervisor
        self._clock = clock

    async def report(self, line: str) -> DoctorReport:
        """Return what is known of a line now; the control lines are asked for in a thread."""
        signals = await asyncio.to_thread(self._supervisor.signals, line)
        examination = self._ward.examine(line, now(self._clock), signals)
        evidence = examination.evidence
        return DoctorReport(
            listened_s=evidence.listened_s,
            heard_bytes=evidence.heard_bytes,
            sent_bytes=evidence.sent_bytes,
            newest=evidence.sample,
            frames_read=evidence.frames_read,
            refusals=evidence.refusals,
            control_lines=None if signals is None else asdict(signals),
            hints=tuple(DoctorHint(**asdict(hint)) for hint in examination.hints),
        )
