"""Write an example workbook that pulls sheets from a running daemon.

Run by a Python that has LibreOffice's scripting interface (the module `uno`), on Debian the system's own:

    /usr/bin/python3 docs/example_workbook.py http://127.0.0.1:8710 demo/example.ods
"""

import contextlib
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import uno
from com.sun.star.beans import PropertyValue

CSV = "Text - txt - csv (StarCalc)"
OPTIONS = "44,34,76,1,,1033,true,true,false,false,false,0,false"
"""The import settings of docs/spreadsheets.md."""
SHEETS = ("lots", "wide", "results", "calibrations", "checks")
REFRESH_S = 60
"""How often the linked sheets are asked for again. [s]"""
PATIENCE_S = 120.0


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextlib.contextmanager
def _office() -> Iterator[Any]:
    """Run the program without a window and yield it."""
    port = _free_port()
    program = shutil.which("soffice")
    if program is None:
        raise SystemExit("LibreOffice is not on this machine: there is no program soffice")
    with tempfile.TemporaryDirectory() as profile:
        call = [program, "--headless", "--norestore", f"-env:UserInstallation={Path(profile).as_uri()}"]
        call.append(f"--accept=socket,host=127.0.0.1,port={port};urp;")
        with subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as running:  # noqa: S603
            desktop = _desktop(port)
            try:
                yield desktop
            finally:
                with contextlib.suppress(Exception):  # it may end before it has answered
                    desktop.terminate()
                running.wait(PATIENCE_S)


def _desktop(port: int) -> Any:
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    address = f"uno:socket,host=127.0.0.1,port={port};urp;StarOffice.ComponentContext"
    deadline = time.monotonic() + PATIENCE_S
    while True:
        try:
            context = resolver.resolve(address)
            return context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
        except Exception:
            if time.monotonic() > deadline:
                raise
            time.sleep(0.1)


def _properties(**given: object) -> tuple[Any, ...]:
    return tuple(PropertyValue(name, 0, value, 0) for name, value in given.items())


def _fill(document: Any, base: str, key: str) -> None:
    sheets = document.Sheets
    first = sheets.getByIndex(0)
    first.Name = "one cell"
    query = f"?lot=LOT&quantity=free_so2{'&key=' + key if key else ''}"
    cells = {
        "A1": "Lot",
        "B1": "Free SO2",
        "C1": "Unit",
        "D1": "Standing",
        "A2": "write the code of a lot here",
        "B2": f'=NUMBERVALUE(WEBSERVICE(SUBSTITUTE("{base}/sheets/value.txt{query}";"LOT";A2));".")',
        "C2": f'=FILTERXML(WEBSERVICE(SUBSTITUTE("{base}/sheets/value.xml{query}";"LOT";A2));"//unit")',
        "D2": f'=FILTERXML(WEBSERVICE(SUBSTITUTE("{base}/sheets/value.xml{query}";"LOT";A2));"//standing")',
    }
    for place, text in cells.items():
        first.getCellRangeByName(place).Formula = text
    for number, name in enumerate(SHEETS, start=1):
        sheets.insertNewByName(name, number)
        corner = sheets.getByName(name).getCellByPosition(0, 0).CellAddress
        address = f"{base}/sheets/{name}.csv?dialect=sheet{'&key=' + key if key else ''}"
        document.AreaLinks.insertAtPosition(corner, address, "CSV_all", CSV, OPTIONS)
        document.AreaLinks.getByIndex(number - 1).RefreshDelay = REFRESH_S


def main() -> None:
    """Write the workbook that the command line asks for."""
    if len(sys.argv) not in {3, 4}:
        raise SystemExit(
            "give the address of the daemon, the file to write, and a reading key if one is wanted"
        )
    base, target, *key = sys.argv[1:]
    with urlopen(f"{base}/sheets/lots.csv{'?key=' + key[0] if key else ''}") as answer:  # noqa: S310
        answer.read()
    path = Path(target).resolve()
    path.parent.mkdir(parents=True, exist_ok=True)
    with _office() as program:
        document = program.loadComponentFromURL(
            "private:factory/scalc", "_blank", 0, _properties(Hidden=True)
        )
        _fill(document, base, key[0] if key else "")
        document.storeToURL(path.as_uri(), _properties(FilterName="calc8"))
        document.dispose()
    print(path)


if __name__ == "__main__":
    main()
