import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from alembic.config import Config
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, Table, make_url
from sqlalchemy.schema import CreateTable

from storage import schema_version
from storage.backup import verify_file
from storage.connect import writing_engine
from storage.errors import NewerStoreError
from storage.file_place import FilePlace
from storage.guards import VIEWS, make_guards
from storage.schema import APPEND_ONLY, ledger, metadata
from storage.store import bring_up_to_date
from tests.fakes.store_contents import fill_file, open_at_noon

NextStep = Callable[[str], Path]

SCHEMA = "SELECT type, name, sql FROM sqlite_master WHERE tbl_name <> 'alembic_version' AND sql IS NOT NULL"


def schema_of(connection: Connection) -> dict[tuple[str, str], str]:
    rows = connection.exec_driver_sql(SCHEMA)
    return {(kind, name): in_one_order(text) for kind, name, text in rows}


def in_one_order(text: str) -> str:
    """Return a statement with its named constraints sorted: their order means nothing."""
    body, _, options = " ".join(text.split()).rpartition(")")
    columns, *constraints = body.strip().split(", CONSTRAINT ")
    return "; ".join([columns, *sorted(constraints), options])


@pytest.fixture
def engine(path: Path) -> Iterator[Engine]:
    engine = writing_engine(path)
    yield engine
    engine.dispose()


@pytest.fixture
def migrated(engine: Engine) -> Engine:
    with engine.connect() as connection:
        schema_version.upgrade(connection)
    return engine


def test_a_migrated_schema_is_the_schema_of_the_program(migrated: Engine, tmp_path: Path) -> None:
    fresh = writing_engine(tmp_path / "fresh.db")
    with fresh.begin() as connection:
        metadata.create_all(connection)
        make_guards(connection)
        wanted = schema_of(connection)
    with migrated.connect() as connection:
        assert schema_of(connection) == wanted
    fresh.dispose()


def test_every_append_only_table_and_view_has_its_guards(migrated: Engine) -> None:
    with migrated.connect() as connection:
        found = set(schema_of(connection))
    guards = {
        ("trigger", f"guard_{t.name}_{act}")
        for t in (ledger, *APPEND_ONLY)
        for act in ("update", "delete", "insert")
    }
    assert guards | {("view", name) for name in VIEWS} <= found


def test_the_schema_found_is_the_newest_after_an_upgrade(migrated: Engine, path: Path) -> None:
    with migrated.connect() as connection:
        assert schema_version.check(connection, path) == schema_version.newest()


def test_an_empty_file_has_no_schema(engine: Engine, path: Path) -> None:
    with engine.connect() as connection:
        assert schema_version.check(connection, path) is None


def test_upgrading_again_changes_nothing(migrated: Engine) -> None:
    with migrated.connect() as connection:
        before = schema_of(connection)
    with migrated.connect() as connection:
        schema_version.upgrade(connection)
    with migrated.connect() as connection:
        assert schema_of(connection) == before


def test_a_rebuild_that_drops_triggers_is_mended_by_making_the_guards_anew(migrated: Engine) -> None:
    with migrated.begin() as connection:
        before = schema_of(connection)
        connection.exec_driver_sql("DROP TRIGGER guard_gap_update")
        connection.exec_driver_sql("DROP VIEW reading_current")
        make_guards(connection)
        assert schema_of(connection) == before


def test_guards_wait_for_tables_that_a_later_step_brings(engine: Engine) -> None:
    with engine.begin() as connection:
        ledger.create(connection)
        make_guards(connection)
        triggers = [name for kind, name in schema_of(connection) if kind == "trigger"]
    assert set(triggers) == {"guard_ledger_delete", "guard_ledger_insert", "guard_ledger_update"}


GOOD_STEP = "op.create_table('later', sa.Column('id', sa.Integer, primary_key=True))"
REBUILD = """with op.batch_alter_table('gap', recreate='always') as batch:
        batch.add_column(sa.Column('note', sa.Text))"""
BAD_STEP = GOOD_STEP + "; raise LookupError('half way')"


@pytest.fixture
def next_step(tmp_path: Path) -> Callable[[str], Path]:
    """Make a folder with one step more than the program has."""

    def make(body: str) -> Path:
        steps = tmp_path / "steps"
        shutil.copytree(schema_version.MIGRATIONS, steps)
        text = f"""import sqlalchemy as sa
from alembic import op

revision = "9999"
down_revision = "{schema_version.newest()}"


def upgrade():
    {body}
"""
        (steps / "versions" / "m9999_later.py").write_text(text, encoding="utf-8")
        return steps

    return make


def test_a_step_that_fails_leaves_nothing_behind(migrated: Engine, path: Path, next_step: NextStep) -> None:
    with migrated.connect() as connection:
        before = schema_of(connection)
    with migrated.connect() as connection, pytest.raises(LookupError):
        schema_version.upgrade(connection, next_step(BAD_STEP))
    with migrated.connect() as connection:
        assert schema_of(connection) == before
        assert schema_version.check(connection, path) == schema_version.newest()


def test_a_first_step_that_fails_leaves_an_empty_file(engine: Engine, path: Path, tmp_path: Path) -> None:
    steps = tmp_path / "steps"
    shutil.copytree(schema_version.MIGRATIONS, steps)
    (first,) = (steps / "versions").glob("m0001*.py")
    first.write_text(
        first.read_text(encoding="utf-8").replace("def downgrade", "    1 / 0\n\n\ndef downgrade")
    )
    with engine.connect() as connection, pytest.raises(ZeroDivisionError):
        schema_version.upgrade(connection, steps)
    with engine.connect() as connection:
        assert schema_of(connection) == {}


def test_a_rebuilt_table_gets_its_triggers_back(migrated: Engine, next_step: NextStep) -> None:
    with migrated.connect() as connection:
        schema_version.upgrade(connection, next_step(REBUILD))
    with migrated.connect() as connection:
        found = set(schema_of(connection))
    assert {("trigger", f"guard_gap_{act}") for act in ("update", "delete", "insert")} <= found


def test_a_store_is_copied_before_a_step(path: Path, next_step: NextStep) -> None:
    head = fill_file(path).head
    engine = writing_engine(path)
    bring_up_to_date(engine, FilePlace(path), next_step(GOOD_STEP))
    engine.dispose()
    assert verify_file(path.with_name("cellar.db.before-9999"), expected=head).in_order


def test_a_failed_step_leaves_store_and_copy(path: Path, next_step: NextStep) -> None:
    head = fill_file(path).head
    engine = writing_engine(path)
    with pytest.raises(LookupError):
        bring_up_to_date(engine, FilePlace(path), next_step(BAD_STEP))
    engine.dispose()
    assert verify_file(path, expected=head).in_order


def test_a_step_can_be_tried_again_after_it_failed(path: Path, next_step: NextStep) -> None:
    head = fill_file(path).head
    engine = writing_engine(path)
    steps = next_step(BAD_STEP)
    for _ in range(2):
        with pytest.raises(LookupError):
            bring_up_to_date(engine, FilePlace(path), steps)
    engine.dispose()
    assert verify_file(path.with_name("cellar.db.before-9999"), expected=head).in_order


def test_a_store_of_the_newer_program_is_refused_by_this_one(path: Path, next_step: NextStep) -> None:
    open_at_noon(path).close()
    engine = writing_engine(path)
    bring_up_to_date(engine, FilePlace(path), next_step(GOOD_STEP))
    engine.dispose()
    with pytest.raises(NewerStoreError, match="schema 9999"):
        open_at_noon(path)


def test_nothing_is_copied_when_no_step_is_pending(path: Path) -> None:
    open_at_noon(path).close()
    open_at_noon(path).close()
    assert not list(path.parent.glob("*.before-*"))


@pytest.mark.parametrize("table", metadata.sorted_tables, ids=lambda table: table.name)
def test_every_table_can_be_made_on_postgresql_too(table: Table) -> None:
    text = str(CreateTable(table).compile(dialect=make_url("postgresql+psycopg://").get_dialect()()))
    assert "STRICT" not in text
    assert "CONSTRAINT pk_" in text


def test_every_constraint_has_a_name() -> None:
    unnamed = [c for table in metadata.sorted_tables for c in table.constraints if not c.name]
    assert unnamed == []


def test_every_step_bears_its_number_in_the_name_of_its_file() -> None:
    config = Config()
    config.set_main_option("script_location", str(schema_version.MIGRATIONS))
    scripts = ScriptDirectory.from_config(config)
    assert scripts.get_current_head() == schema_version.newest()
    for script in scripts.walk_revisions():
        assert Path(script.path).name.startswith(f"m{script.revision}_")
