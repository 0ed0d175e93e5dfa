"""What a spreadsheet program makes of sheets, asked through its own scripting interface.

Run by the system's own Python, which has the module `uno`: the port of the program, then jobs as JSON on the
standard input and answers as JSON on the standard output.
"""

import contextlib
import json
import select
import sys
import time
from typing import Any

import uno
from com.sun.star.beans import PropertyValue

CSV = "Text - txt - csv (StarCalc)"
PATIENCE_S = 120.0
POLL_S = 0.1


def desktop(port: int) -> Any:
    """Return the running program, once it answers."""
    local = uno.getComponentContext()
    resolver = local.ServiceManager.createInstanceWithContext("com.sun.star.bridge.UnoUrlResolver", local)
    deadline = time.monotonic() + PATIENCE_S
    while True:
        try:
            context = resolver.resolve(
                f"uno:socket,host=127.0.0.1,port={port};urp;StarOffice.ComponentContext"
            )
            return context.ServiceManager.createInstanceWithContext("com.sun.star.frame.Desktop", context)
        except Exception:
            if time.monotonic() > deadline:
                raise
            select.select([], [], [], POLL_S)  # give the processor away


def properties(**given: object) -> tuple[Any, ...]:
    """Return arguments as the program takes them."""
    return tuple(PropertyValue(name, 0, value, 0) for name, value in given.items())


def cells(sheet: Any) -> list[list[dict[str, Any]]]:
    """Return every used cell: what kind it is, its number, what is shown, and its formula."""
    cursor = sheet.createCursor()
    cursor.gotoEndOfUsedArea(False)
    last = cursor.RangeAddress
    rows = []
    for row in range(last.EndRow + 1):
        line = []
        for column in range(last.EndColumn + 1):
            cell = sheet.getCellByPosition(column, row)
            kind = cell.Type.value.lower()
            line.append({"kind": kind, "value": cell.Value, "shown": cell.String, "formula": cell.Formula})
        rows.append(line)
    return rows


def load(program: Any, job: dict[str, Any]) -> dict[str, Any]:
    """Open an address as a document and return its cells."""
    given: dict[str, object] = {"Hidden": True}
    if "options" in job:
        given |= {"FilterName": CSV, "FilterOptions": job["options"]}
    document = program.loadComponentFromURL(job["url"], "_blank", 0, properties(**given))
    if document is None:
        return {"error": "could not be loaded"}
    found = cells(document.Sheets.getByIndex(0))
    document.close(True)
    return {"cells": found}


def link(program: Any, job: dict[str, Any]) -> dict[str, Any]:
    """Link an address into a new document, do what is asked between, refresh, and return both pictures."""
    document = program.loadComponentFromURL("private:factory/scalc", "_blank", 0, properties(Hidden=True))
    sheet = document.Sheets.getByIndex(0)
    document.AreaLinks.insertAtPosition(
        sheet.getCellByPosition(0, 0).CellAddress, job["url"], "CSV_all", CSV, job["options"]
    )
    before = cells(sheet)
    print(json.dumps({"cells": before}), flush=True)
    sys.stdin.readline()
    document.AreaLinks.getByIndex(0).refresh()
    after = cells(sheet)
    document.close(True)
    return {"cells": after}


def formulas(program: Any, job: dict[str, Any]) -> dict[str, Any]:
    """Enter formulas, one a row, and return the cells."""
    document = program.loadComponentFromURL("private:factory/scalc", "_blank", 0, properties(Hidden=True))
    sheet = document.Sheets.getByIndex(0)
    for row, text in enumerate(job["formulas"]):
        sheet.getCellByPosition(0, row).Formula = text
    document.calculateAll()
    found = cells(sheet)
    document.close(True)
    return {"cells": found}


def main() -> None:
    """Do jobs until the input ends."""
    program = desktop(int(sys.argv[1]))
    jobs = {"load": load, "link": link, "formulas": formulas}
    while True:
        line = sys.stdin.readline()
        if not line:
            break
        job = json.loads(line)
        print(json.dumps(jobs[job["do"]](program, job)), flush=True)
    with contextlib.suppress(Exception):
        program.terminate()


if __name__ == "__main__":
    main()
