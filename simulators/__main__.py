"""Run the stand-in bench, or one instrument of it, from a shell: ``python -m simulators --help``."""

import argparse
import contextlib
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Final

from simulators.bench import (
    DEMO_SPEED,
    SEED,
    Place,
    connect,
    demo_bench,
    numbered,
    reach,
    write_paper,
)
from simulators.clock import Clock, ScaledClock
from simulators.faults import FAULTS, Fault, parse_fault
from simulators.kinds import KINDS, Kind
from simulators.loop import CONTROL_HELP, Loop, follow_standard_input, stop_on_signals
from simulators.wirelog import FileWireLog, NoWireLog, WireLog

EXAMPLES: Final = f"""\
examples:
  python -m simulators bench --folder demo/bench --log demo/wire.jsonl
  python -m simulators so2-burette --port ./bur-1 --fault garbage@5 --fault cut_cable@20:10
  python -m simulators lines --folder ports --lines 64 --rate 20 --count 1000

The program ends, with exit code 0, on SIGTERM, SIGINT and at the end of its standard input. On standard input
{CONTROL_HELP}.

faults:
""" + "\n".join(f"  {name:12} {text}" for name, text in FAULTS.items())


def main(arguments: Sequence[str] | None = None) -> int:
    """Run what the command line asks for; return the exit code."""
    options = _parser().parse_args(arguments)
    try:
        clock = ScaledClock(options.speed)
        with _log(options.log) as log:
            _run(options, options.places(options, clock), clock, log)
    except (OSError, ValueError) as error:
        print(f"simulators: {error}", file=sys.stderr)
        return 2
    return 0


def _run(options: argparse.Namespace, places: list[Place], clock: Clock, log: WireLog) -> None:
    paper: Path | None = options.folder / "bench.json" if options.folder else None
    if paper:
        paper.unlink(missing_ok=True)  # of a bench that was killed
    connected = connect(places, clock, log, options.seed, options.fault)
    loop = Loop([channel for _, channel in connected], clock, _say)
    stop_on_signals(loop)
    if paper:
        write_paper(paper, connected)
    for one in connected:
        entry = reach(*one)
        _say(f"{entry['instrument']} at {entry['url_or_device']} for driver {entry['driver']}")
    if not options.no_stdin:
        follow_standard_input(loop)
    loop.run()
    if paper:
        paper.unlink(missing_ok=True)


@contextlib.contextmanager
def _log(path: Path | None) -> Iterator[WireLog]:
    if path is None:
        yield NoWireLog()
        return
    with contextlib.closing(FileWireLog(path)) as log:
        yield log


def _say(text: str) -> None:
    """Print, unless whoever started us no longer reads."""
    with contextlib.suppress(OSError):
        print(text, flush=True)


def _bench(options: argparse.Namespace, clock: Clock) -> list[Place]:
    folder: Path = options.folder
    folder.mkdir(parents=True, exist_ok=True)
    return demo_bench(lambda name: "tcp" if options.tcp else str(folder / name), clock, options.seed)


def _one(kind: Kind) -> Callable[[argparse.Namespace, Clock], list[Place]]:
    def places(options: argparse.Namespace, clock: Clock) -> list[Place]:
        return [kind.make(options.port, clock, options.seed, options.name or kind.name)]

    return places


def _lines(options: argparse.Namespace, _: Clock) -> list[Place]:
    addresses: list[str] = list(options.port)
    if options.folder:
        options.folder.mkdir(parents=True, exist_ok=True)
        folder: Path = options.folder
        addresses += ["tcp" if options.tcp else str(folder / f"line-{n:03d}") for n in range(options.lines)]
    if not addresses:
        raise ValueError("no port given; give --port, or --folder with --lines")
    names = [f"line-{number:03d}" for number in range(len(addresses))]
    return numbered(addresses, names, 0.0 if options.saturate else options.rate, options.count, options.seed)


def _fault(text: str) -> Fault:
    try:
        return parse_fault(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(str(error)) from None


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="python -m simulators",
        description="Simulated instruments on real ports.",
        epilog=EXAMPLES,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    commands = parser.add_subparsers(required=True, metavar="WHAT")
    bench = _command(commands.add_parser("bench", help="every instrument"), _bench, DEMO_SPEED)
    bench.add_argument("--folder", type=Path, required=True, help="for the ports and bench.json")
    bench.add_argument("--tcp", action="store_true", help="TCP ports instead of pseudo-terminals")
    for name, kind in KINDS.items():
        one = _command(commands.add_parser(name, help=kind.about), _one(kind), 1.0)
        one.add_argument(
            "--port", required=True, metavar="LINK", help="path, 'tcp', tcp://host:port or file:TABLE"
        )
        one.add_argument("--name", metavar="ID", help=f"of the instrument (default {kind.name})")
        one.add_argument("--folder", type=Path, help="for bench.json")
    _lines_options(_command(commands.add_parser("lines", help="numbered frames for load"), _lines, 1.0))
    return parser


def _lines_options(lines: argparse.ArgumentParser) -> None:
    lines.add_argument(
        "--port", action="append", default=[], metavar="LINK", help="may be given several times"
    )
    lines.add_argument("--folder", type=Path, help="make ports line-000, line-001 … and bench.json in it")
    lines.add_argument("--lines", type=int, default=1, help="how many ports in the folder")
    lines.add_argument(
        "--tcp", action="store_true", help="TCP ports instead of pseudo-terminals in the folder's list"
    )
    lines.add_argument("--rate", type=float, default=20.0, help="frames a second on each port")
    lines.add_argument("--saturate", action="store_true", help="as fast as the reader takes them")
    lines.add_argument("--count", type=int, default=0, help="frames on each port; 0 for no end")
    lines.add_argument("--format", choices=["delimited"], default="delimited")


def _command(
    parser: argparse.ArgumentParser, places: Callable[[argparse.Namespace, Clock], list[Place]], speed: float
) -> argparse.ArgumentParser:
    parser.set_defaults(places=places)
    parser.add_argument(
        "--speed", type=float, default=speed, help=f"seconds of work in a second (default {speed:g})"
    )
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument(
        "--log", type=Path, metavar="FILE", help="append what was put on the line, and what it meant"
    )
    parser.add_argument(
        "--fault", type=_fault, action="append", default=[], metavar="[INSTRUMENT/]NAME@SECONDS[:DURATION]"
    )
    parser.add_argument("--no-stdin", action="store_true", help="do not end when standard input ends")
    return parser


if __name__ == "__main__":
    sys.exit(main())
