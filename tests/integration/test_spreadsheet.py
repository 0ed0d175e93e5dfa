"""A real spreadsheet program loads the sheet over HTTP and sees the numbers that instruments sent."""

import csv
import shutil
import subprocess
from pathlib import Path

import httpx
import pytest

from tests.integration.bench_run import Daemon, config_text, daemon, free_port, until

pytestmark = pytest.mark.needs("libreoffice")

LOCALES = {"en-US": 1033, "de-DE": 1031, "fr-FR": 1036}
"""Language codes of the import filter."""

CAPTURE = b"".join(b"N|%08d|%.3f|mg/L\r\n" % (number, number * 3.41) for number in range(1, 8))
SEPARATORS = {"sheet": 44, "sheet-eu": 59}


def loaded(running: Daemon, folder: Path, dialect: str, locale: str) -> list[dict[str, str]]:
    """Return the rows as the program shows them in one locale, its numbers written with a point."""
    url = f"{running.url}/sheets/readings.csv?dialect={dialect}"
    # separator, quote, UTF-8, first line; column 9 and 11 are US English numbers where the point is the mark
    columns = "9/10/11/10" if dialect == "sheet" else "1/1"
    incoming = (
        f"CSV:{SEPARATORS[dialect]},34,76,1,{columns},{LOCALES[locale]},true,true,false,false,false,0,false"
    )
    outgoing = "csv:Text - txt - csv (StarCalc):44,34,76,1,,1033,true,false"
    call = [
        shutil.which("soffice") or "soffice",
        "--headless",
        f"-env:UserInstallation={(folder / 'profile').as_uri()}",
        f"--infilter={incoming}",
        "--convert-to",
        outgoing,
        "--outdir",
        str(folder / "out"),
        url,
    ]
    subprocess.run(call, check=True, capture_output=True, timeout=120)
    (found,) = (folder / "out").glob("*.csv")  # the program exits with 0 even when it could not load
    with found.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("locale", LOCALES)
@pytest.mark.parametrize("dialect", SEPARATORS)
def test_numbers_are_the_same_in_every_locale_with_its_recipe(
    tmp_path: Path, dialect: str, locale: str
) -> None:
    if dialect == "sheet-eu" and locale == "en-US":
        dialect = "sheet"  # the comma dialect is for locales with a comma
    (tmp_path / "capture.bin").write_bytes(CAPTURE)
    line = {
        "name": "a",
        "kind": "capture-file",
        "path": "capture.bin",
        "instrument": "x",
        "driver": "load-lines",
    }
    port = free_port()
    config = tmp_path / "tundish.toml"
    config.write_text(config_text(port, [line]), encoding="utf-8")
    with daemon(config, port) as running:
        until("all readings taken in", lambda: _normal_values(running) == 7)
        rows = loaded(running, tmp_path, dialect, locale)
    assert [float(row["value"].replace(",", ".")) for row in rows] == [
        round(number * 3.41, 3) for number in range(1, 8)
    ]


def _normal_values(running: Daemon) -> int:
    text = httpx.get(f"{running.url}/sheets/readings.csv").text
    return sum(bool(row["normal_value"]) for row in csv.DictReader(text.splitlines()))
