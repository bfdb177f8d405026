"""Opening a store: which file, is it ours, which schema; and the one way to write to it."""

from __future__ import annotations

import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any, ClassVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from tapwear.errors import OutcomeUnknown, SchemaError, StoreError, UsageError
from tapwear.store.disks import network_file_system
from tapwear.store.version import LATEST

if TYPE_CHECKING:
    from sqlmodel import Session

APPLICATION_ID = 0x54415057  # "TAPW" in the file header, so that another program's database is not taken for ours
BUSY_TIMEOUT_MS = 15_000  # our choice: longer than any write of ours takes
ASK_ANEW_S = 0.2  # between two looks at what became of a write on a server: our choice
ASK_AGAIN_S = 0.002  # between two tries to get the write lock: our choice, about what a short write takes
# Endings of the names of the files that SQLite keeps one database in (sqlite.org/tempfiles.html).
FILES = ("", "-wal", "-shm", "-journal")


def _connect_to(path: Path, *, must_exist: bool, immutable: bool = False) -> Engine:
    mode = "ro&immutable=1" if immutable else "rw" if must_exist else "rwc"
    # `as_uri` quotes what must be quoted; SQLite's own URI form lets us refuse to create a file by accident.
    uri = f"{path.resolve().as_uri()}?mode={mode}"

    def connect() -> sqlite3.Connection:
        raw = sqlite3.connect(
            uri, uri=True, isolation_level=None, timeout=BUSY_TIMEOUT_MS / 1000, factory=_Connection
        )
        raw.file = _which_file(path)
        raw.execute(f"PRAGMA busy_timeout={BUSY_TIMEOUT_MS}")
        raw.execute("PRAGMA foreign_keys=ON")
        raw.execute("PRAGMA synchronous=FULL")
        return raw

    engine = sa.create_engine("sqlite://", creator=connect, poolclass=sa.NullPool)

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        # IMMEDIATE takes the write lock before the first read, so that two writers cannot both read, then both
        # write what they computed from it.
        if not connection.get_execution_options().get("writing", False):
            connection.exec_driver_sql("BEGIN")
            return
        raw = connection.connection.driver_connection
        assert isinstance(raw, _Connection)  # noqa: S101 - narrows the type
        if not _got_its_turn(raw):
            connection.exec_driver_sql("BEGIN IMMEDIATE")  # once more, for its complaint
        if raw.file != _which_file(path):
            raise StoreError(f"Another file took the place of {path} just now. Nothing was recorded; try again.")

    return engine


def _got_its_turn(raw: sqlite3.Connection) -> bool:
    """Waits for the write lock, and takes it; False when it was not to be had for as long as we wait.

    SQLite's own waiting asks less and less often, so that of many busy writers the one that has waited longest has
    the least chance (tests/trust/many.py: one of eight waited more than 15 s). Here all ask equally often.
    """
    deadline = time.monotonic() + BUSY_TIMEOUT_MS / 1000
    raw.execute("PRAGMA busy_timeout=0")
    try:
        while True:
            try:
                raw.execute("BEGIN IMMEDIATE")
            except sqlite3.OperationalError as error:
                if "locked" not in str(error) or time.monotonic() > deadline:
                    return False
                time.sleep(ASK_AGAIN_S)
            else:
                return True
    finally:
        raw.execute(f"PRAGMA busy_timeout={BUSY_TIMEOUT_MS}")


class _Connection(sqlite3.Connection):
    """Knows which file it was opened on, since a restored backup may take its name while it waits for its turn."""

    file: tuple[int, int] | None = None

    def __del__(self) -> None:
        with suppress(sqlite3.Error):
            self.close()  # Python 3.13 warns of connections that are merely forgotten


def _which_file(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def explain(path: Path, error: BaseException) -> StoreError:
    """The error in words, with what to do: one of the disk or of the database, met while working on that file."""
    text = str(error).lower()
    if "locked" in text or "busy" in text or "lock timeout" in text:
        return StoreError(
            f"{path} is in use: another Tapwear has been writing for more than {BUSY_TIMEOUT_MS // 1000} s. "
            "Nothing was changed; try again."
        )
    if "readonly" in text or "read-only" in text:
        return StoreError(f"{path} cannot be written to: the file or its folder is read-only.")
    if "full" in text or "no space left" in text or "quota" in text or "too large" in text:
        return StoreError(f"The disk that holds {path} is full. Nothing was changed; make room and try again.")
    if _damaged(text):
        return StoreError(
            f"{path} is not a Tapwear store, or it is damaged: {error}. Nothing was changed. Where it is damaged, a "
            f"backup takes its place with: tapwear --db {path} restore BACKUP --replace"
        )
    if "i/o error" in text:
        return StoreError(
            f"The disk that holds {path} could not be written or read ({error}): it may be full, limited or failing. "
            "Nothing was recorded; make room or use another disk, then run: tapwear check"
        )
    if isinstance(error, FileExistsError):
        return StoreError(f"{path} is there already. Name another file.")
    if "unable to open" in text or isinstance(error, PermissionError | FileNotFoundError | NotADirectoryError):
        return StoreError(f"{path} cannot be opened: is it a file, and may you read and write it and its folder?")
    first = _first_line(error)
    if "connection" in text or "resolve host" in text:
        return StoreError(f"{path} cannot be reached: {first}. Nothing was changed; try again.")
    if "permission denied" in text or "must be owner" in text:
        return StoreError(f"{path}: {first}. Nothing was changed. Whoever keeps the database can grant what is needed.")
    if "no such" in text or "does not exist" in text or "already exists" in text:
        return StoreError(
            f"{path} does not hold what a store of its schema holds: {first}. Nothing was changed. The latest backup "
            "in which tapwear check finds nothing takes its place: tapwear restore"
        )
    return StoreError(f"{path}: {first}")


def _first_line(error: BaseException | None) -> str:
    return (str(error).splitlines() or [""])[0]


def _damaged(text: str) -> bool:
    """Whether SQLite complains of what stands in the file, in small letters."""
    return "not a database" in text or "malformed" in text or "decode" in text


class Store:
    """An opened store: a file, or a database on a server (then `path` is its name in words).

    Reads go through `reading()`, every write through `unit_of_work()`.
    """

    writes: ClassVar[int] = 0  # how often this process has begun to record something for good

    def __init__(self, path: Path, engine: Engine) -> None:
        self.path = path
        self.engine = engine

    @property
    def address(self) -> Path | str:
        """Where another process finds the store: the path, or the URL with its password."""
        return self.engine.url.render_as_string(hide_password=False) if self.on_server else self.path

    @property
    def on_server(self) -> bool:
        """Whether it is a database on a server rather than a file."""
        return self.engine.dialect.name != "sqlite"

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A session that sees one unchanging state of the store."""
        with self._session(self.engine) as session:
            yield session

    @contextmanager
    def unit_of_work(self) -> Iterator[Session]:
        """A session whose writes all land together, or not at all. Never ask a person anything inside it."""
        with self._session(self.engine.execution_options(writing=True)) as session:
            yield session
            with self._committing(session.connection()):
                session.commit()

    @contextmanager
    def rows(self, *, writing: bool = False) -> Iterator[Connection]:
        """A connection that sees one unchanging state of the store, for SQL expressions without the models.

        `writing` takes the write lock at once; all writes land together, or not at all. Light commands use this,
        since importing the models takes longer than their work. Never ask a person anything inside it.
        """
        engine = self.engine.execution_options(writing=True) if writing else self.engine
        try:
            with engine.connect() as connection, connection.begin() as transaction:
                yield connection
                if writing:
                    with self._committing(connection):
                        transaction.commit()
        except sa.exc.IntegrityError:
            raise
        except (sa.exc.OperationalError, sa.exc.DatabaseError) as error:
            raise explain(self.path, error.orig or error) from error
        except sqlite3.DatabaseError as error:  # met by who reads the file itself, as a backup does into another
            if not _damaged(str(error).lower()):
                raise
            raise explain(self.path, error) from error

    @contextmanager
    def _session(self, engine: Engine) -> Iterator[Session]:
        from sqlmodel import Session

        try:
            with Session(engine, expire_on_commit=False) as session:
                yield session
        except sa.exc.IntegrityError:
            raise
        except (sa.exc.OperationalError, sa.exc.DatabaseError) as error:
            raise explain(self.path, error.orig or error) from error

    @contextmanager
    def _committing(self, connection: Connection) -> Iterator[None]:
        """Around the end of a write. Where its answer is lost, asks the server what became of it.

        Raises StoreError that says so when it cannot be known.
        """
        Store.writes += 1
        number = None
        if self.on_server:  # of a transaction that wrote something (PostgreSQL's manual, 9.27, txid functions)
            number = connection.exec_driver_sql("SELECT txid_current_if_assigned()").scalar()
        try:
            yield
        except sa.exc.DBAPIError as error:
            lost = self.on_server and error.connection_invalidated
            if not lost and "i/o error" not in str(error).lower():
                raise
            became = self._became_of(number) if lost else None
            if became == "committed" or (lost and number is None):
                return
            if became == "aborted":
                raise
            raise OutcomeUnknown(
                f"{self.path}: the answer was lost just as this was being recorded ({_first_line(error.orig)}), so "
                "whether it was recorded is not known. Look with: tapwear history UNIT. Or give the same command "
                "again: what is in the book already is not added twice."
            ) from error

    def _became_of(self, number: int | None) -> str | None:
        """What the server says of a transaction: committed, aborted, or None where that cannot be had."""
        deadline = time.monotonic() + BUSY_TIMEOUT_MS / 1000
        while time.monotonic() < deadline:
            try:
                with self.engine.connect() as connection:
                    became = connection.exec_driver_sql(f"SELECT txid_status({number})").scalar()
            except sa.exc.DBAPIError:
                return None
            if became in ("committed", "aborted"):
                return str(became)
            time.sleep(ASK_ANEW_S)  # the server has not noticed yet that we are gone
        return None

    def close(self) -> None:
        self.engine.dispose()


def _pragma(connection: Connection, name: str) -> Any:
    return connection.exec_driver_sql(f"PRAGMA {name}").scalar()


def _header(engine: Engine) -> tuple[bool, int]:
    """Whether a file is a store of ours, and its schema version."""
    with engine.connect() as connection:
        ours = _pragma(connection, "application_id") == APPLICATION_ID
        return ours, int(_pragma(connection, "user_version") or 0)


def create_store(path: Path, access: int = 0o600) -> Store:
    """A new, empty store at `path`. Raises StoreError when something is there already or on a network drive, UsageError
    for a name that no store can have.

    access : who may read and write the file, as the bits of a file's mode; as usual its owner only
    """
    from tapwear.store.migrate import create_schema

    if path.is_dir():
        raise StoreError(f"{path} is a folder. Name a file for the store.")
    not_of_a_journal(path)
    if path.exists():
        raise StoreError(f"{path} is there already. Name another file, or use it as it is with --db {path}.")
    if not path.parent.is_dir():
        raise StoreError(f"{path.parent} is not a folder. Make it first, or name another place.")
    kind = network_file_system(path)
    if kind:
        raise StoreError(_network_words(path, kind))
    engine = _connect_to(path, must_exist=False)
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_RDWR, access))
    except OSError as error:
        raise explain(path, error) from error
    try:
        with engine.connect() as connection:
            connection.exec_driver_sql("COMMIT")
            connection.exec_driver_sql("PRAGMA journal_mode=WAL")
        with engine.execution_options(writing=True).begin() as connection:
            create_schema(connection)
    except BaseException as error:
        engine.dispose()
        for ending in FILES:
            Path(f"{path}{ending}").unlink(missing_ok=True)  # half a store is none
        if isinstance(error, OSError | sa.exc.DatabaseError):
            raise explain(path, error) from error
        raise
    return Store(path, engine)


def not_of_a_journal(path: Path) -> None:
    """Raises UsageError for a name that SQLite gives to the files beside a database, and takes for one of its own."""
    if path.name.endswith(FILES[1:]):
        raise UsageError(f"{path} ends like a file that belongs to a store ({', '.join(FILES[1:])}). Name another one.")


def _network_words(path: Path, kind: str) -> str:
    return (
        f"{path} lies on {kind}, a network file system. A store cannot be kept there: its write-ahead log works "
        "on a local disk only, and records could be lost. Keep the store on this machine's own disk."
    )


def open_at(address: Path | str, *, any_version: bool = False) -> Store:
    """The store in a file or, by its URL, on a server. Raises what open_store and open_on_server raise."""
    if isinstance(address, Path):
        return open_store(address, any_version=any_version)
    from tapwear.store.server import open_on_server

    return open_on_server(address, any_version=any_version)


def open_store(path: Path, *, any_version: bool = False) -> Store:
    """The store at `path`, checked to be ours and of this schema version.

    Raises StoreError (missing, foreign, locked, on a network drive) or SchemaError (older or newer version).
    `any_version` leaves the version check to the caller, which is `tapwear upgrade`.
    """
    if not path.exists():
        raise StoreError(f"There is no store at {path}. Make one with: tapwear --db {path} init")
    kind = network_file_system(path)
    if kind:
        raise StoreError(_network_words(path, kind))
    engine = _connect_to(path, must_exist=True)
    try:
        ours, version = _header(engine)
    except sa.exc.OperationalError as error:
        engine = _read_only(path, error)
        ours, version = _header(engine)
    except (sa.exc.DatabaseError, UnicodeDecodeError) as error:  # SQLite's complaint may quote what is no text
        raise explain(path, getattr(error, "orig", None) or error) from error
    if not ours:
        raise StoreError(f"{path} belongs to another program, or is empty. Nothing was changed; name another file.")
    if not any_version and version != LATEST:
        if version > LATEST:
            raise SchemaError(
                f"{path} was written by a newer Tapwear (schema {version}, this one knows {LATEST}). "
                "Install the newer Tapwear; nothing was changed."
            )
        raise SchemaError(
            f"{path} has schema {version}, this Tapwear needs {LATEST}. "
            f"Run: tapwear --db {path} upgrade (it makes a backup first)."
        )
    return Store(path, engine)


def _read_only(path: Path, error: sa.exc.OperationalError) -> Engine:
    """For a store in a folder that cannot be written to: read as it stands, if it stands alone.

    A store that somebody works with has its log beside it, which cannot be followed from there. Raises StoreError.
    """
    told = explain(path, error.orig or error)
    words = str(error).lower()
    if not any(one in words for one in ("readonly", "read-only", "unable to open")) or not os.access(path, os.R_OK):
        raise told from error
    log = Path(f"{path}-wal")
    if log.exists() and log.stat().st_size:
        raise StoreError(
            f"{path} lies where nothing can be written, and {log.name} beside it holds entries that cannot be read "
            "there. Copy both to a folder of your own and use the copy, or read a backup."
        ) from error
    engine = _connect_to(path, must_exist=True, immutable=True)
    try:
        _header(engine)
    except sa.exc.DatabaseError:
        raise told from error
    return engine
