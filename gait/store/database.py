"""The one connection to the records: SQLite file or PostgreSQL, transactions, plain errors."""

from __future__ import annotations

import logging
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError, SQLAlchemyError

from gait.errors import StoreError, StoreReadOnly
from gait.store.migrations import migrate, refuse_unfit

FILE_NAME = "records.sqlite"
_LOG = logging.getLogger(__name__)
_WRITES = "writes_records"
_CANNOT_WRITE = ("disk is full", "readonly", "read-only", "disk i/o error", "no space left")
_MIGRATION_LOCK = 7_204_511  # any fixed number; only we ask for it


class Database:
    """An open farm's records. Use :func:`gait.store.open_store` rather than this.

    Parameters
    ----------
    where : str or Path
        Farm folder, ``.sqlite`` file, or ``postgresql://`` address.
    herd : str
        Name of the herd on a PostgreSQL server, which can hold many (one schema each).
    read_only : bool
        Open for reading only.
    up_to_version : int, optional
        Bring the records up to this version only, to put an old backup back. Default: newest.
    """

    def __init__(
        self,
        where: str | Path,
        herd: str = "herd",
        *,
        read_only: bool = False,
        up_to_version: int | None = None,
    ) -> None:
        self.read_only_because = "The farm was opened for reading only." if read_only else ""
        self.herd = herd
        self.folder: Path | None = None
        if _is_server(where):
            self.engine = _postgres_engine(str(where), herd)
        else:
            path = _file_of(where)
            self.folder = path.parent
            self.engine = self._open_file(path)
        self._prepare(up_to_version)

    def _open_file(self, path: Path) -> Engine:
        if not self.read_only_because:
            try:
                path.parent.mkdir(parents=True, exist_ok=True)
            except OSError as error:
                raise StoreError(
                    f"The folder {path.parent} cannot be made.", "Choose another folder."
                ) from error
            writable = os.access(path if path.exists() else path.parent, os.W_OK)
            if not writable or not os.access(path.parent, os.W_OK):
                self.read_only_because = f"The folder {path.parent} cannot be written to."
        if self.read_only_because and not path.exists():
            raise StoreError(
                f"There are no records in {path.parent}.", "Choose the folder of your farm."
            )
        return _sqlite_engine(path, read_only=bool(self.read_only_because))

    def _prepare(self, up_to_version: int | None) -> None:
        try:
            with self.read() as connection:
                _check_sound(connection)
                if self.read_only_because:
                    refuse_unfit(connection)
            if not self.read_only_because:
                with self.write() as connection:
                    if connection.dialect.name == "postgresql":
                        connection.execute(text(f"SELECT pg_advisory_xact_lock({_MIGRATION_LOCK})"))
                        if self.herd not in inspect(connection).get_schema_names():
                            connection.execute(text(f'CREATE SCHEMA "{self.herd}"'))
                    migrate(connection, up_to_version)
        except StoreReadOnly:
            if self.folder is None or not self._has_tables():
                raise
        except Exception:
            self.close()
            raise

    def _has_tables(self) -> bool:
        with self.read() as connection:
            found = connection.execute(text("SELECT COUNT(*) FROM sqlite_master")).scalar()
        return bool(found)

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """Give a connection that sees one unchanging picture of the records."""
        try:
            with self.engine.connect() as connection, connection.begin():
                yield connection
        except SQLAlchemyError as error:
            raise _told_plainly(error) from error

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """Give a connection in a transaction: all of it is kept, or nothing.

        Raises
        ------
        StoreReadOnly
            If nothing can be written (disk full, folder read-only). Reading still works.
        StoreError
            For every other trouble with the records.
        """
        if self.read_only_because:
            raise StoreReadOnly(
                self.read_only_because,
                "You can go on reading. Nothing new is kept until this is put right.",
            )
        try:
            with self.engine.connect() as connection:
                connection = connection.execution_options(**{_WRITES: True})
                with connection.begin():
                    yield connection
        except SQLAlchemyError as error:
            told = _told_plainly(error)
            if isinstance(told, StoreReadOnly):
                self.read_only_because = told.message
            raise told from error

    def try_writing_again(self) -> bool:
        """Leave read-only mode if the disk takes writes again; return whether it does."""
        before, self.read_only_because = self.read_only_because, ""
        try:
            with self.write() as connection:
                connection.execute(text("CREATE TABLE write_trial (x INTEGER)"))
                connection.execute(text("DROP TABLE write_trial"))
        except StoreError:
            self.read_only_because = before
            return False
        return True

    def close(self) -> None:
        """Close every connection."""
        self.engine.dispose()


def _is_server(where: str | Path) -> bool:
    return str(where).startswith(("postgresql://", "postgresql+psycopg://", "postgres://"))


def _file_of(where: str | Path) -> Path:
    path = Path(where)
    return path if path.suffix in {".sqlite", ".db"} else path / FILE_NAME


def has_records(where: str | Path, herd: str = "herd") -> bool:
    """Tell whether a farm's records are there; none are made by asking.

    Parameters
    ----------
    where : str or Path
        Farm folder, ``.sqlite`` file, or ``postgresql://`` address.
    herd : str
        Name of the herd on a PostgreSQL server.
    """
    return herd in herds_on(str(where)) if _is_server(where) else _file_of(where).is_file()


def herds_on(url: str) -> list[str]:
    """Return the names of the herds that a PostgreSQL server keeps.

    Raises
    ------
    StoreError
        If the server cannot be reached.
    """
    engine = _postgres_engine(url, "herd")
    try:
        with engine.connect() as connection:
            question = (
                "SELECT table_schema FROM information_schema.tables "
                "WHERE table_name = 'schema_version' ORDER BY table_schema"
            )
            return list(connection.scalars(text(question)))
    except SQLAlchemyError as error:
        raise _told_plainly(error) from error
    finally:
        engine.dispose()


def _sqlite_engine(path: Path, *, read_only: bool) -> Engine:
    mode = "ro" if read_only else "rwc"
    # A folder that cannot be written to cannot hold the helper files of the log; if none is
    # left over there, the file itself is complete and can be read as it stands.
    log = path.with_name(path.name + "-wal")
    frozen = read_only and not (log.exists() and log.stat().st_size)
    address = f"file:{_quoted(path)}?mode={mode}{'&immutable=1' if frozen else ''}&uri=true"
    engine = create_engine(f"sqlite:///{address}", connect_args={"timeout": 15})

    @event.listens_for(engine, "connect")
    def _on_connect(raw: Any, _: Any) -> None:
        raw.isolation_level = None  # transactions are begun below, never silently
        raw.execute("PRAGMA foreign_keys=ON")
        if not read_only:
            raw.execute("PRAGMA journal_mode=WAL")
            raw.execute("PRAGMA synchronous=FULL")  # a decision survives a power cut too

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _quoted(path: Path) -> str:
    return path.resolve().as_posix().replace("%", "%25").replace("?", "%3f").replace("#", "%23")


def _postgres_engine(url: str, herd: str) -> Engine:
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,40}", herd):
        raise StoreError(
            f"A herd cannot be called {herd!r} on the server.",
            "Use small letters, digits and underscores, beginning with a letter.",
        )
    address = re.sub(r"^postgres(ql)?(\+psycopg)?://", "postgresql+psycopg://", url)
    try:
        engine = create_engine(address, pool_pre_ping=True)
    except ModuleNotFoundError as error:
        raise StoreError(
            "The part that talks to a PostgreSQL server is not installed.",
            "Install it with: pip install 'exitlane[postgres]'",
        ) from error

    @event.listens_for(engine, "connect")
    def _on_connect(raw: Any, _: Any) -> None:
        with raw.cursor() as cursor:
            cursor.execute(f'SET search_path TO "{herd}"')
        raw.commit()

    @event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        if not connection.get_execution_options().get(_WRITES):
            connection.exec_driver_sql("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")

    return engine


def _check_sound(connection: Connection) -> None:
    """Refuse a damaged SQLite file before anything is written to it."""
    if connection.dialect.name != "sqlite":
        return
    found = connection.exec_driver_sql("PRAGMA quick_check(1)").scalar()
    if found != "ok":
        raise StoreError(
            "The farm's records are damaged.",
            "Close the program, keep the damaged file aside, and restore the newest backup.",
        )


def _told_plainly(error: SQLAlchemyError) -> StoreError:
    _LOG.warning("trouble with the records: %s", error)
    said = str(error.orig if isinstance(error, DBAPIError) else error).lower()
    if any(words in said for words in _CANNOT_WRITE):
        why = "The disk is full" if "full" in said or "space" in said else "The records are locked"
        return StoreReadOnly(
            f"{why}, so nothing new can be kept.",
            "You can go on reading. Make room or put the folder right, then try again.",
        )
    if "malformed" in said or "not a database" in said:
        return StoreError(
            "The farm's records are damaged.",
            "Close the program, keep the damaged file aside, and restore the newest backup.",
        )
    if "locked" in said or "busy" in said:
        return StoreError(
            "Another program is writing to the records just now.", "Try again in a moment."
        )
    if isinstance(error, IntegrityError):
        return StoreError(
            "This entry contradicts what is on record, so it was not kept.",
            "Load the page again and look at what is there.",
        )
    if isinstance(error, OperationalError):
        return StoreError("The farm's records could not be reached.", "Check the address or disk.")
    return StoreError("The farm's records could not be read or written.", "See the log for why.")
