"""``tundish learn``: from the bytes of an unknown instrument to a driver file."""

import json
import re
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tundish.commands.options import for_option

if TYPE_CHECKING:
    from acquire.config import SerialSource
    from acquire.learning.report import Proposal
    from tundish.screen import Say
    from tundish.wiring import LinePlan

NOT_GOOD = 1
"""Exit code when nothing was found that could be used as it is."""
_NO_NAME = re.compile(r"[^a-z0-9]+")


@click.command("learn")
@click.option("--out", type=click.Path(path_type=Path), help="Write the driver file here, if it is good.")
@click.option("--name", help="Of the driver; by default that of the file it is written to.")
@click.option(
    "--answer",
    "answers",
    multiple=True,
    metavar="KEY=ANSWER",
    help="Answer a question; may come again and again.",
)
@click.option("--ask/--no-ask", default=None, help="Ask at a prompt; by default if it runs in a terminal.")
@click.option("--anyway", is_flag=True, help="Write the driver file even if it is doubtful.")
@click.option("--json", "as_json", is_flag=True, help="Say all as one JSON object.")
@click.option("--keep", type=click.Path(path_type=Path), help="Keep what was heard on a line in this file.")
@click.option(
    "--config",
    type=click.Path(path_type=Path),
    default=Path("tundish.toml"),
    show_default=True,
    help="The configuration file in which a line is looked up.",
)
@for_option
@click.argument("source")
def command(
    source: str,
    *,
    out: Path | None,
    name: str | None,
    answers: tuple[str, ...],
    ask: bool | None,
    anyway: bool,
    as_json: bool,
    keep: Path | None,
    config: Path,
    for_s: float | None,
) -> None:
    """Propose a driver file from the bytes of SOURCE and prove it on bytes that it was not made from.

    SOURCE is a file of captured bytes, the device or URL of a port, the name of a line, or - for standard
    input. Bytes show the layout; what a number is must be said: --answer FIELD=QUANTITY, FIELD=QUANTITY:UNIT,
    FIELD=ignore, "token TEXT=no_value", "unit TEXT=UNIT". Exit code 1 if the proposal is not good.

    Example: tundish learn monday.bin --answer turb=turbidity:NTU --out turbidity.toml
    """
    if out is not None and out.exists():
        raise click.ClickException(f"{out} is there already; name another file, or move it away")
    say = (lambda _: None) if as_json else click.echo
    data = _heard(source, config, for_s, say)
    if keep is not None:
        keep.write_bytes(data)
        say(f"{keep}: {len(data)} bytes kept")
    given = dict(_answer(text) for text in answers)
    called = name or _name_from(out, source)
    proposal = _learn(data, given, called)
    if ask if ask is not None else (sys.stdin.isatty() and not as_json and source != "-"):
        proposal = _asked(data, given, called, proposal)
    _tell(proposal, as_json=as_json)
    _write(proposal, out, anyway=anyway, say=say)
    if proposal.standing.value != "good":
        raise click.exceptions.Exit(NOT_GOOD)


def _learn(data: bytes, given: Mapping[str, str], name: str) -> "Proposal":
    from acquire.learning.answers import Answers
    from acquire.learning.learn import learn

    return learn(data, Answers(given), name)


def _heard(source: str, config: Path, for_s: float | None, say: "Say") -> bytes:
    """Return the bytes of a file, of standard input, or of a line that is listened to."""
    from acquire.learning.learn import MOST_BYTES

    if source == "-":
        return sys.stdin.buffer.read(MOST_BYTES)
    path = Path(source)
    if path.is_file():
        with path.open("rb") as file:
            return file.read(MOST_BYTES)
    return _listened(source, config, for_s, say)


def _listened(source: str, config: Path, for_s: float | None, say: "Say") -> bytes:
    """Return what comes over a port or a line; the settings of a port are found by listening."""
    from acquire.config import SerialSource
    from tundish.hearing_out import FOR_S, hear_line_out, hear_out, listener_of
    from tundish.log import set_up
    from tundish.loop import run

    set_up("error")  # what the line does is shown anyway
    seconds = FOR_S if for_s is None else for_s
    port, plan = _port(source), None
    if port is None:
        plan = _plan(source, config)
        port = plan.settings.source if isinstance(plan.settings.source, SerialSource) else None
    say(f"listening to {source} for {seconds:g} s")
    try:
        if port is not None:
            return run(hear_out(port.settings, listener_of(port), seconds, say)).data
        assert plan is not None  # noqa: S101 - what is no port is a line
        return run(hear_line_out(plan, seconds))
    except KeyboardInterrupt:
        raise click.Abort from None


def _port(source: str) -> "SerialSource | None":
    """Return a port that is named by its device or URL; None if it is the name of a line."""
    from acquire.config import DevicePath, PortUrl, SerialSource

    if "://" in source:
        return SerialSource(PortUrl(source))
    is_device = "/" in source or re.fullmatch(r"COM[0-9]+", source, re.IGNORECASE) is not None
    return SerialSource(DevicePath(source)) if is_device else None


def _plan(line: str, config: Path) -> "LinePlan":
    from tundish.config import load_config
    from tundish.config_faults import ConfigError
    from tundish.wiring import line_plans

    if not config.exists():
        raise click.ClickException(
            f"{line!r} is no file and no port, and there is no {config} that could name a line so"
        )
    plans = {plan.settings.name: plan for plan in line_plans(load_config(config), config.resolve().parent)}
    if line not in plans:
        known = ", ".join(plans) or "none"
        raise ConfigError(str(config), [f"{line!r} is no file, no port and no line; lines: {known}"])
    return plans[line]


def _answer(text: str) -> tuple[str, str]:
    """Split an answer at its last equals sign: the text of a token may hold one."""
    key, sign, said = text.rpartition("=")
    if not sign or not key.strip() or not said.strip():
        raise click.BadParameter(f"{text!r} is no answer; wanted KEY=ANSWER", param_hint="--answer")
    return key.strip(), said.strip()


def _name_from(out: Path | None, source: str) -> str:
    stem = out.stem if out is not None else Path(source).stem
    return _NO_NAME.sub("-", stem.casefold()).strip("-")[:64].strip("-") or "learnt"


def _asked(data: bytes, given: dict[str, str], name: str, proposal: "Proposal") -> "Proposal":
    """Put each question at a prompt and learn again until nothing new is asked; an empty answer is none."""
    from acquire.learning.answers import AnswerError, Answers
    from tundish.learnt import question_in_words

    skipped: set[str] = set()
    while True:
        question = next((q for q in proposal.questions if q.key not in given and q.key not in skipped), None)
        if question is None:
            return proposal
        click.echo(question_in_words(question))
        said = click.prompt(f"{question.key}", default="", show_default=False).strip()
        if not said:
            skipped.add(question.key)
            continue
        try:
            Answers({question.key: said})
        except AnswerError as error:
            click.echo(str(error))
            continue
        given[question.key] = said
        proposal = _learn(data, given, name)


def _tell(proposal: "Proposal", *, as_json: bool) -> None:
    from tundish.learnt import as_json as as_data
    from tundish.learnt import in_words

    if as_json:
        click.echo(json.dumps(as_data(proposal)))
        return
    for line in in_words(proposal):
        click.echo(line)


def _write(proposal: "Proposal", out: Path | None, *, anyway: bool, say: "Say") -> None:
    """Write the driver file, never over another; one that is not good only if somebody insists."""
    if out is None:
        if proposal.driver:
            say(f"\n{proposal.driver}")
        return
    if not proposal.driver:
        say(f"{out} is not written: there is no driver file yet")
    elif proposal.standing.value != "good" and not anyway:
        say(f"{out} is not written, because the proposal is doubtful; --anyway writes it all the same")
    else:
        with out.open("x", encoding="utf-8", newline="\n") as file:
            file.write(proposal.driver)
        say(f"{out}: written; try it with: tundish check {out}")
