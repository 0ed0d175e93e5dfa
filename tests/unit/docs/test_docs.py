"""What the documents say can be followed: links, paths, commands, blocks of TOML, addresses."""

import re
import shlex
import tomllib
from pathlib import Path
from typing import Any

import click
import pytest
from fastapi import FastAPI
from starlette.routing import Match

from acquire.drivers.data_only import factory_from_text
from api.app import close_app, create_app
from storage.store import open_store
from tests.fakes.api_services import still_services
from tundish.cli import cli
from tundish.config import load_config

HOME = Path(__file__).parents[3]
DOCUMENTS = [HOME / "README.md", HOME / "DEVELOPERS.md", *sorted((HOME / "docs").rglob("*.md"))]
"""All but the changelog, which tells what was, under the name it had then."""
ROOMS = "acquire|api|bench|docs|evaluate|simulators|storage|tests|tundish|\\.ci"


def found(pattern: str, flags: int = re.DOTALL) -> list[Any]:
    """Return what matches in each document, with the document's name."""
    return [
        pytest.param(document, match, id=f"{document.relative_to(HOME)}:{match[:60]}")
        for document in DOCUMENTS
        for match in sorted(set(re.findall(pattern, document.read_text(encoding="utf-8"), flags)))
    ]


@pytest.mark.parametrize(("document", "link"), found(r"\]\((?!https?:|#)([^)\s]+)\)"))
def test_a_link_leads_somewhere(document: Path, link: str) -> None:
    assert (document.parent / link.partition("#")[0]).exists()


@pytest.mark.parametrize(("document", "path"), found(rf"`((?:{ROOMS})/[\w./-]*|[\w-]+\.md)`"))
def test_a_path_that_is_named_exists(document: Path, path: str) -> None:
    assert (HOME / path).exists() or (document.parent / path).exists()


@pytest.mark.parametrize(("document", "test"), found(r"`(tests/[\w/]+\.py::test_\w+)`"))
def test_a_test_that_is_named_exists(document: Path, test: str) -> None:
    file, _, name = test.partition("::")
    assert re.search(rf"^(async )?def {name}\(", (HOME / file).read_text(encoding="utf-8"), re.MULTILINE)


COMMANDS = [
    *found(r"^(?:\$ )?(?:\S*bin/|\S*Scripts\\)?tundish ([a-z].*)$", re.MULTILINE),
    *found(r"`(?:\S*bin/)?tundish ([a-z][^`\n]*)`"),
]


@pytest.mark.parametrize(("document", "line"), COMMANDS)
def test_a_command_is_understood(
    document: Path, line: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    name, *words = shlex.split(line, comments=True, posix=True)
    command = cli.get_command(click.Context(cli), name)
    assert command is not None, f"there is no command {name}"
    if not words:
        return  # only named
    monkeypatch.chdir(tmp_path)
    for word in words:
        if Path(word).suffix and Path(word).name == word:
            Path(word).touch()
    command.make_context(name, words)


@pytest.mark.parametrize(("document", "target"), found(r"(?:^|`)(?:\$ )?make ([a-z]+)", re.MULTILINE))
def test_a_target_of_make_exists(document: Path, target: str) -> None:
    assert re.search(rf"^{target}:", (HOME / "Makefile").read_text(encoding="utf-8"), re.MULTILINE)


@pytest.mark.parametrize(("document", "block"), found(r"```toml\n(.*?)```"))
def test_a_block_of_toml_loads(document: Path, block: str, tmp_path: Path) -> None:
    table = tomllib.loads(block)
    if "framing" in table:
        factory_from_text(block, document.name)
    elif "line" in table or "store" in table:
        file = tmp_path / "tundish.toml"
        file.write_text(block, encoding="utf-8")
        load_config(file)


@pytest.fixture(scope="module")
def app(tmp_path_factory: pytest.TempPathFactory) -> Any:
    store = open_store(tmp_path_factory.mktemp("docs") / "store.db", kind="demo", clock_us=lambda: 1)
    app = create_app(still_services(store))
    yield app
    close_app(app)
    store.close()


ADDRESSES = found(r"(?:127\.0\.0\.1:8710|\{here\}|`)(/(?:api/v1|sheets|readings|lines|static)/[^\s'`?]*)")


@pytest.mark.parametrize(("document", "path"), ADDRESSES)
def test_an_address_is_served(document: Path, path: str, app: FastAPI) -> None:
    real = re.sub(r"\{plural:records\}", "lots", path)
    real = re.sub(r"\{\w+\}", "1", real).rstrip("/*.,")
    scope = {"type": "http", "method": "GET", "path": real, "headers": []}
    assert any(route.matches(scope)[0] is not Match.NONE for route in app.routes)


def test_the_documents_were_read() -> None:
    assert len(DOCUMENTS) > 15
    assert len(COMMANDS) > 15
    assert len(ADDRESSES) > 20
