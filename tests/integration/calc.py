"""A real spreadsheet program, without a window, in a locale of its own."""

import contextlib
import json
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from tests.integration.bench_run import LIMIT_S, free_port

SCRIPT = Path(__file__).with_name("calc_script.py")
PYTHON = "/usr/bin/python3"
"""The one that has the program's scripting interface."""
SETTINGS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry">
 <item oor:path="/org.openoffice.Setup/L10N">
  <prop oor:name="ooSetupSystemLocale" oor:op="fuse"><value>{locale}</value></prop>
 </item>
</oor:items>
"""


class Calc:
    """A running program; one job at a time."""

    def __init__(self, script: "subprocess.Popen[str]") -> None:
        self._script = script

    def load(self, url: str, options: str | None = None) -> list[list[Any]]:
        """Open an address and return its cells, row by row; with the options of a text import, if given."""
        job: dict[str, Any] = {"do": "load", "url": url}
        if options is not None:
            job["options"] = options
        return self._asked(job)

    def formulas(self, *formulas: str) -> list[Any]:
        """Enter formulas and return their cells."""
        return [row[0] for row in self._asked({"do": "formulas", "formulas": formulas})]

    def link(self, url: str, options: str) -> list[list[Any]]:
        """Link an address into a new document and return its cells; `refresh` ends it."""
        return self._asked({"do": "link", "url": url, "options": options})

    def refresh(self) -> list[list[Any]]:
        """Refresh what was linked and return its cells."""
        return self._asked({})

    def _asked(self, job: dict[str, Any]) -> list[list[Any]]:
        assert self._script.stdin is not None
        assert self._script.stdout is not None
        self._script.stdin.write(json.dumps(job) + "\n")
        self._script.stdin.flush()
        answer = json.loads(self._script.stdout.readline())
        found: list[list[Any]] = answer["cells"]
        return found


@contextlib.contextmanager
def calc(folder: Path, locale: str) -> Iterator[Calc]:
    """Run the program until the end of the block."""
    profile, port = folder / f"profile-{locale}", free_port()
    (profile / "user").mkdir(parents=True)
    settings = SETTINGS.format(locale=locale)
    (profile / "user" / "registrymodifications.xcu").write_text(settings, encoding="utf-8")
    call = [
        shutil.which("soffice") or "soffice",
        "--headless",
        "--norestore",
        f"-env:UserInstallation={profile.as_uri()}",
        f"--accept=socket,host=127.0.0.1,port={port};urp;",
    ]
    with (
        subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as program,
        subprocess.Popen(
            [PYTHON, str(SCRIPT), str(port)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        ) as script,
    ):
        try:
            yield Calc(script)
        finally:
            assert script.stdin is not None
            script.stdin.close()
            with contextlib.suppress(subprocess.TimeoutExpired):
                script.wait(LIMIT_S)
                program.wait(LIMIT_S)
            for process in (script, program):
                if process.poll() is None:
                    process.kill()
