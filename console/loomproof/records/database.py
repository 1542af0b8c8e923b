"""The store's database: its address, its owner and version, and durable transactions."""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import platformdirs
from sqlalchemy import Connection, Engine, create_engine, event, inspect, make_url, select
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.orm import Session

from loomproof.records.errors import RecordError
from loomproof.records.schema import SCHEMA_VERSION, Base, MetaRow

ENVIRONMENT_VARIABLE = "LOOMPROOF_RECORDS"
BUSY_TIMEOUT_MS = 10_000
_WRITING = "loomproof_writing"


def store_url(where: str | Path | None) -> str:
    """Return the SQLAlchemy URL of a store.

    Args:
        where: a path, a URL, or None for `$LOOMPROOF_RECORDS` or else the user's data directory.
    """
    text = str(where or os.environ.get(ENVIRONMENT_VARIABLE) or _default_path())
    return text if "://" in text else f"sqlite:///{Path(text).expanduser().absolute()}"


def _default_path() -> Path:
    return platformdirs.user_data_path("loomproof") / "records.sqlite3"


def open_engine(url: str, *, create: bool) -> Engine:
    """Open the database; make the store if it is missing and `create` is true.

    Raises:
        RecordError: it cannot be opened, is not a store of this program, or is of a newer version.
    """
    engine = _engine(url)
    try:
        if engine.dialect.name == "sqlite":
            _prepare_file(engine, create=create)
        _check_schema(engine, create=create)
        if engine.dialect.name == "sqlite":
            _write_ahead(engine)
    except (DBAPIError, OSError) as error:
        engine.dispose()
        cause = error.orig if isinstance(error, DBAPIError) else error
        raise RecordError(
            f"The record store {engine.url.render_as_string()} cannot be opened: {cause}.",
            "Check that the place exists, is writable and holds a record store, or name another by --store.",
        ) from error
    except RecordError:
        engine.dispose()
        raise
    return engine


def _engine(url: str) -> Engine:
    try:
        parsed = make_url(url)
        engine = create_engine(parsed)
    except (ArgumentError, NoSuchModuleError) as error:
        raise RecordError(
            f"{_masked(url)!r} is not an address of a record store: {error}.",
            "Give a file path, or a URL such as postgresql+psycopg://bench@server/loomproof.",
        ) from error
    except ImportError as error:
        raise RecordError(
            f"The driver for {parsed.drivername} is not installed: {error}.",
            "Install it next to Loomproof (for PostgreSQL: pip install 'psycopg[binary]').",
        ) from error
    if engine.dialect.name == "sqlite":
        event.listen(engine, "connect", _on_connect)
        event.listen(engine, "begin", _on_begin)
    return engine


def _masked(url: str) -> str:
    """Return an address that may be shown, with the part between `//` and `@` masked."""
    return re.sub(r"//[^/]*@", "//***@", url)


def _on_connect(connection: sqlite3.Connection, _: object) -> None:
    connection.isolation_level = (
        None  # this module begins transactions itself, so that a writer takes its lock at once
    )
    for pragma in ("synchronous=FULL", "foreign_keys=ON", f"busy_timeout={BUSY_TIMEOUT_MS}"):
        connection.execute(f"PRAGMA {pragma}")


def _on_begin(connection: Connection) -> None:
    writing = connection.get_execution_options().get(_WRITING)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writing else "BEGIN")


def _prepare_file(engine: Engine, *, create: bool) -> None:
    name = engine.url.database
    if not name or name == ":memory:":
        raise RecordError("A record kept in memory does not last.", "Give the store a file.")
    if Path(name).exists():
        return
    if not create:
        raise RecordError(
            f"There is no record store at {name}.", "Prove a loom first, or name the store with --store."
        )
    Path(name).parent.mkdir(parents=True, exist_ok=True)


def _write_ahead(engine: Engine) -> None:
    """Turn on write-ahead logging, which is a property of the file and cannot change inside a transaction."""
    raw = engine.raw_connection()
    try:
        raw.cursor().execute("PRAGMA journal_mode=WAL")
    finally:
        raw.close()


def _check_schema(engine: Engine, *, create: bool) -> None:
    with engine.connect().execution_options(**{_WRITING: create}) as connection, connection.begin():
        tables = set(inspect(connection).get_table_names())
        if MetaRow.__tablename__ in tables:
            row = connection.execute(select(MetaRow.value).where(MetaRow.name == "schema_version")).scalar()
            _check_version(row, engine)
            return
        ours = tables & set(Base.metadata.tables)
        if ours or (tables and engine.dialect.name == "sqlite"):
            raise RecordError(
                f"The database {engine.url.render_as_string()} is not a Loomproof record store.",
                "Nothing was changed. Name another place with --store.",
            )
        if not create:
            raise RecordError(
                f"The database {engine.url.render_as_string()} holds no records yet.",
                "Prove a loom first, or name another store with --store.",
            )
        Base.metadata.create_all(connection)
        connection.execute(
            MetaRow.__table__.insert().values(name="schema_version", value=str(SCHEMA_VERSION))  # type: ignore[attr-defined]
        )


def _check_version(value: str | None, engine: Engine) -> None:
    version = int(value) if value and value.isdigit() else 0
    if version > SCHEMA_VERSION:
        raise RecordError(
            f"The record store {engine.url.render_as_string()} was made by a newer Loomproof "
            f"(store version {version}; this program knows {SCHEMA_VERSION}).",
            "Nothing was changed. Update Loomproof, or name another store with --store.",
        )
    if version < 1:
        raise RecordError(
            f"The record store {engine.url.render_as_string()} does not say its version.",
            "It is damaged or of another program. Nothing was changed; restore a copy or name another with --store.",
        )


@contextmanager
def writing(engine: Engine) -> Iterator[Session]:
    """Run one durable transaction: it is on the disk when the block ends, and rolled back when the block raises.

    Raises:
        RecordError: the database reports an error.
    """
    try:
        with Session(engine.execution_options(**{_WRITING: True})) as session, session.begin():
            yield session
    except SQLAlchemyError as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        raise RecordError(
            f"The record could not be written: {cause}.",
            "What was recorded before is safe. Check the store's free space and access, then carry on.",
        ) from error


@contextmanager
def reading(engine: Engine) -> Iterator[Session]:
    """Open one consistent view of the store.

    Raises:
        RecordError: the database reports an error.
    """
    try:
        with Session(engine) as session:
            yield session
    except SQLAlchemyError as error:
        cause = error.orig if isinstance(error, DBAPIError) else error
        raise RecordError(
            f"The record store cannot be read: {cause}.", "Check the file or server, or restore a copy."
        ) from error
