"""The lines of a running daemon: started from the configuration, changed by people, kept beside it.

Every act is checked as the configuration is, kept in a file, entered into the ledger, and then done, in this
order: what cannot be kept is not done.
"""

import asyncio
import json
from collections.abc import AsyncIterator, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import structlog

from acquire.line_state import Condition
from acquire.supervisor import Supervisor
from storage.rows import LineActRow
from tundish.acts import ActRecord, By
from tundish.config import Config, load_config, own_lines
from tundish.config_faults import ConfigError
from tundish.errors import LineConflictError, NotKeptError, UnknownLineError
from tundish.line_config import AnyLineConfig
from tundish.line_files import files_elsewhere, secrets_elsewhere
from tundish.lines_file import LinesFile
from tundish.wiring import LinePlan, checked_line, line_plans

MARKED_STOPPED: Final = "it is marked as stopped in the configuration"
_RUNNING: Final = frozenset({Condition.OPENING, Condition.OPEN, Condition.WAITING})

log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class _Line:
    config: AnyLineConfig
    plan: LinePlan

    @property
    def table(self) -> dict[str, Any]:
        """What a configuration file would say of it."""
        return self.config.model_dump(mode="json", exclude_unset=True)

    def differs(self, other: "_Line") -> bool:
        """Tell whether the line must be opened anew; a driver file may have changed under the same name."""
        own, its = self.plan, other.plan
        return (own.settings, own.stopped, own.factory.identity) != (
            its.settings,
            its.stopped,
            its.factory.identity,
        )


@dataclass(frozen=True, slots=True)
class Reloaded:
    """What reading the configuration again has changed."""

    number: int
    """Of the ledger entry."""
    acts: Mapping[str, str]
    """By line: added, changed, started or removed."""


class LineBook:
    """Every line, with what the configuration says of it. To be called from the event loop."""

    def __init__(self, file: Path, supervisor: Supervisor, record: ActRecord) -> None:
        self._config_file = file
        self._folder = file.resolve().parent
        self._file = LinesFile(file)
        self._supervisor = supervisor
        self._record = record
        self._lines: dict[str, _Line] = {}
        self._changing = asyncio.Lock()
        self._closed = False

    def open_all(self, config: Config, plans: tuple[LinePlan, ...]) -> None:
        """Start the lines of a configuration; those that it marks as stopped are only listed."""
        for line, plan in zip(config.line, plans, strict=True):
            self._lines[line.name] = _Line(line, plan)
            self._supervisor.add_line(
                plan.settings, plan.factory, stopped=MARKED_STOPPED if plan.stopped else None
            )

    async def close(self) -> None:
        """Finish the act that is under way and take no more."""
        async with self._changing:
            self._closed = True

    def settings(self, name: str) -> tuple[dict[str, Any], str]:
        """Return what the configuration says of a line, and the name of the file that says it."""
        line = self._named(name)
        kept = any(one.get("name") == name for one in self._file.read() if isinstance(one, dict))
        return line.table, self._file.path.name if kept else self._config_file.name

    async def add(self, table: Mapping[str, Any], by: By) -> int:
        """Add a line and return the number of the ledger entry.

        Raises
        ------
        ConfigError
            With everything that is wrong with its table.
        LineConflictError
            If the name is taken.
        NotKeptError
            If the act could not be kept.
        """
        async with self._one_at_a_time():
            line = self._checked(table, {})
            if line.config.name in self._lines:
                raise LineConflictError(
                    f"there is a line {line.config.name!r} already; change that one, or choose another name"
                )
            return await self._do("added", line, by)

    async def change(self, name: str, table: Mapping[str, Any], by: By) -> int | None:
        """Put another table in the place of a line's; None if it says the same. Raises as `add` does."""
        async with self._one_at_a_time():
            before = self._named(name)
            if table.get("name", name) != name:
                fault = (
                    f"line[{name}].name: cannot be changed (got {table['name']!r}); add a line of that name"
                )
                raise ConfigError("line", [fault])
            line = self._checked({"name": name, **table}, before.table)
            if line.table == before.table and not line.differs(before):
                return None
            return await self._do("changed", line, by)

    async def stop(self, name: str, by: By) -> int | None:
        """Stop a line until it is started; None if it is stopped already. Raises as `add` does."""
        async with self._one_at_a_time():
            line = self._named(name)
            if line.plan.stopped:
                return None
            return await self._do("stopped", self._checked({**line.table, "stopped": True}, line.table), by)

    async def start(self, name: str, by: By) -> int | None:
        """Start a line that was stopped or has ended; None if it runs. Raises as `add` does."""
        async with self._one_at_a_time():
            line = self._named(name)
            if self._condition(name) in _RUNNING:
                return None
            table = {key: value for key, value in line.table.items() if key != "stopped"}
            return await self._do("started", self._checked(table, line.table), by)

    async def remove(self, name: str, by: By) -> int:
        """Stop a line and forget it. Raises as `add` does; what stands in the configuration stays."""
        async with self._one_at_a_time():
            line = self._named(name)
            if name in own_lines(self._config_file):
                file = self._config_file.name
                raise LineConflictError(
                    f"line {name!r} stands in {file}; take it out there and reload, or stop it here"
                )
            return await self._do("removed", line, by)

    async def reload(self, by: By) -> Reloaded:
        """Read the configuration again and bring the lines in step with it.

        Raises
        ------
        ConfigError
            With everything that is wrong with it; nothing has changed then.
        NotKeptError
            If the act could not be entered; nothing has changed then.
        """
        async with self._one_at_a_time():
            config = load_config(self._config_file)
            plans = line_plans(config, self._folder, str(self._config_file))
            wanted = {line.name: _Line(line, plan) for line, plan in zip(config.line, plans, strict=True)}
            acts = self._acts_towards(wanted)
            rows = [
                _row(place, act, wanted.get(name) or self._lines[name])
                for place, (name, act) in enumerate(acts.items())
            ]
            number = await self._record.enter("config.reloaded", by, {"line_act": rows} if rows else {})
            for name, act in acts.items():
                await self._apply(act, wanted.get(name) or self._lines[name], MARKED_STOPPED)
            log.info("config.reloaded", lines=len(wanted), changed=len(acts), actor=by.actor)
            return Reloaded(number, acts)

    @asynccontextmanager
    async def _one_at_a_time(self) -> AsyncIterator[None]:
        async with self._changing:
            if self._closed:
                raise NotKeptError("nothing was done, because the daemon is stopping")
            yield

    def _acts_towards(self, wanted: Mapping[str, _Line]) -> dict[str, str]:
        acts = {name: "removed" for name in self._lines if name not in wanted}
        for name, line in wanted.items():
            if name not in self._lines:
                acts[name] = "added"
            elif line.differs(self._lines[name]):
                acts[name] = "changed"
            elif self._condition(name) is Condition.FAILED:
                acts[name] = "started"
        return acts

    async def _do(self, act: str, line: _Line, by: By) -> int:
        name = line.config.name
        before = [one for one in self._file.read() if isinstance(one, dict)]
        others = [one for one in before if one.get("name") != name]
        says_the_same = own_lines(self._config_file).get(name) == line.table
        kept = others if act == "removed" or says_the_same else [*others, line.table]
        try:
            await asyncio.to_thread(self._file.write, kept)
        except (OSError, ValueError) as error:
            why = getattr(error, "strerror", None) or error
            raise NotKeptError(
                f"nothing was done, because it could not be kept in {self._file.path}: {why}"
            ) from error
        try:
            number = await self._record.enter(f"line.{act}", by, {"line_act": [_row(0, act, line)]})
        except NotKeptError:
            await asyncio.to_thread(self._file.write, before)
            raise
        await self._apply(act, line, _stopped_by(by))
        log.info("line.acted_on", line=name, act=act, actor=by.actor, reason=by.reason)
        return number

    async def _apply(self, act: str, line: _Line, why_stopped: str) -> None:
        name, plan = line.config.name, line.plan
        if act == "removed":
            await self._supervisor.remove_line(name)
            del self._lines[name]
            return
        stopped = why_stopped if plan.stopped else None
        if act == "added":
            self._supervisor.add_line(plan.settings, plan.factory, stopped=stopped)
        else:
            await self._supervisor.change_line(plan.settings, plan.factory, stopped=stopped)
        self._lines[name] = line

    def _named(self, name: str) -> _Line:
        if name not in self._lines:
            raise UnknownLineError(f"there is no line {name!r}; known: {', '.join(self._lines) or 'none'}")
        return self._lines[name]

    def _checked(self, table: Mapping[str, Any], before: Mapping[str, Any]) -> _Line:
        """Return a line that can be started; it may name files of ours, and those that it named before."""
        faults = files_elsewhere(table, self._folder, before) + secrets_elsewhere(table, before)
        try:
            line = _Line(*checked_line(table, self._folder))
        except ConfigError as error:
            raise ConfigError(error.source, [*error.faults, *faults]) from error
        if faults:
            raise ConfigError("line", faults)
        return line

    def _condition(self, name: str) -> Condition:
        return next(state.state for state in self._supervisor.states() if state.line == name)


def _row(place: int, act: str, line: _Line) -> LineActRow:
    return LineActRow(place, line.config.name, act, json.dumps(line.table, ensure_ascii=False))


def _stopped_by(by: By) -> str:
    return f"stopped by {by.actor}: {by.reason}" if by.reason else f"stopped by {by.actor}"
