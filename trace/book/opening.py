"""Opening a book: one database, one place where its settings stand.

A book is a SQLite file on a local disk, or a PostgreSQL address. IMMEDIATE takes the write lock before the first read: with a
plain BEGIN, writers that read first fail at once when another commits between. FULL: with NORMAL a power cut can undo what we
already confirmed.
"""

from __future__ import annotations

import contextlib
import re
import threading
from collections.abc import Iterable, Iterator, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from peewee import DatabaseError, SqliteDatabase
from playhouse.migrations import Runner

from fillbook.trace.core.errors import Damaged, Nonsense, ShopError, UnknownItem

MIGRATIONS = Path(__file__).resolve().parent / "migrations"


class Row(dict[str, Any]):
    """One row of a query; its columns are read as attributes."""

    __slots__ = ()

    def __getattr__(self, name: str) -> Any:
        try:
            return self[name]
        except KeyError:
            raise AttributeError(name) from None


class Book:
    """An open book. Every thread connects for itself; see :func:`connected`."""

    def __init__(self, db: Any, where: str) -> None:
        self.db = db
        self.where = where
        self.postgres = not isinstance(db, SqliteDatabase)
        self._local = threading.local()

    # -- reading ---------------------------------------------------------------------------------------------------------------
    def execute(self, sql: str, args: Sequence[Any] = ()) -> Any:
        """Run *sql*, whose parameters are written ``?`` on either database."""
        if self.postgres:
            sql = sql.replace("%", "%%").replace("?", "%s")
        return self.db.execute_sql(sql, tuple(args))

    def rows(self, sql: str, *args: Any) -> list[Row]:
        cursor = self.execute(sql, args)
        names = [column[0] for column in cursor.description]
        return [Row(zip(names, values, strict=True)) for values in self._plain(cursor.fetchall())]

    def tuples(self, sql: str, *args: Any) -> list[tuple[Any, ...]]:
        return self._plain(self.execute(sql, args).fetchall())

    def one(self, sql: str, *args: Any) -> Row | None:
        found = self.rows(sql, *args)
        return found[0] if found else None

    def value(self, sql: str, *args: Any) -> Any:
        found = self.execute(sql, args).fetchone()
        return self._plain([found])[0][0] if found else None

    def _plain(self, rows: list[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
        """PostgreSQL adds whole numbers up to a decimal; here they stay whole."""
        if not self.postgres:
            return rows
        return [tuple(int(value) if isinstance(value, Decimal) else value for value in row) for row in rows]

    # -- writing; only apply, derive and the journal use these -----------------------------------------------------------------
    def insert(self, table: str, row: Mapping[str, Any]) -> None:
        columns = ", ".join(row)
        marks = ", ".join("?" * len(row))
        self.execute(f"INSERT INTO {table} ({columns}) VALUES ({marks})", list(row.values()))

    def insert_many(self, table: str, columns: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
        mark = "%s" if self.postgres else "?"
        sql = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({', '.join([mark] * len(columns))})"
        rows = list(rows)
        if rows:
            self.db.cursor().executemany(sql, rows)

    @contextlib.contextmanager
    def transaction(self) -> Iterator[None]:
        """All of what is inside, or nothing."""
        with self.db.atomic():
            yield

    @contextlib.contextmanager
    def reading(self) -> Iterator[None]:
        """One picture of the book for a report made of several queries."""
        if self.db.in_transaction() or getattr(self._local, "reading", False):
            yield
            return
        self.execute(
            "BEGIN TRANSACTION ISOLATION LEVEL REPEATABLE READ" if self.postgres else "BEGIN DEFERRED"
        )
        self._local.reading = True
        try:
            yield
        finally:
            self._local.reading = False
            self.execute("ROLLBACK")

    @contextlib.contextmanager
    def connected(self) -> Iterator[Book]:
        """A connection for this thread, closed at the end if it was opened here."""
        fresh = self.db.connect(reuse_if_open=True)
        try:
            yield self
        finally:
            if fresh:
                self.db.close()

    # -- shops -----------------------------------------------------------------------------------------------------------------
    def shops(self) -> list[str]:
        return [row[0] for row in self.tuples("SELECT shop FROM chain ORDER BY ordinal")]

    def the_shop(self, named: str | None = None) -> str:
        """The shop meant: the one named, or the only one."""
        shops = self.shops()
        if named:
            if named.upper() not in shops:
                raise UnknownItem(
                    f"No shop {named} is in this book. It holds {', '.join(shops) or 'none yet'}.",
                    field="shop",
                )
            return named.upper()
        if not shops:
            raise UnknownItem("This book holds no shop yet. Set one up first: fillbook set-up-shop --help.")
        if len(shops) > 1:
            raise Nonsense(
                f"This book holds the shops {', '.join(shops)}: say which one with --shop.", field="shop"
            )
        return shops[0]


def _sqlite(path: str) -> SqliteDatabase:
    return SqliteDatabase(
        path,
        autoconnect=False,
        lock_type="IMMEDIATE",
        timeout=10,
        pragmas={"journal_mode": "wal", "synchronous": "full", "foreign_keys": 1, "cache_size": -16000},
    )


def _database(where: str) -> Any:
    if re.match(r"(postgres|psycopg)\w*://", where):
        from playhouse.db_url import connect

        return connect(where, autoconnect=False)
    return _sqlite(where)


def _runner(db: Any) -> Runner:
    return Runner(db, directory=str(MIGRATIONS))


def is_there(where: str) -> bool:
    """Whether a book, or anything else, lies at *where* (a path or a PostgreSQL address) already."""
    if "://" not in where:
        return where != ":memory:" and Path(where).is_file() and Path(where).stat().st_size > 0
    db = _connected(where)
    try:
        return bool(db.get_tables())
    finally:
        db.close()


def create(where: str) -> Book:
    """A new, empty book at *where* (a path, ``:memory:`` or a PostgreSQL address), connected and at the newest schema.

    Raises Nonsense where a book already is, Damaged where a PostgreSQL server can't be reached.
    """
    if is_there(where):
        raise Nonsense(f"{shown(where)} exists already; choose another name for the new book.", field="book")
    if "://" not in where and where != ":memory:":
        try:
            Path(where).parent.mkdir(parents=True, exist_ok=True)
        except OSError as trouble:
            raise Nonsense(
                f"No book can be made at {where} ({trouble.strerror}); choose another place.", field="book"
            ) from None
    db = _connected(where)
    _runner(db).up()
    return Book(db, where)


def open_book(where: str, *, newest: bool = True) -> Book:
    """The book at *where*, connected.

    Raises UnknownItem where there is none, Damaged where the file is no book or the server can't be reached, and Nonsense where it
    belongs to another program or a newer one, or (when *newest*) where its tables are older than this program: a running shop is
    never migrated behind its back.
    """
    none = UnknownItem(
        f"There is no book at {shown(where)}. Set up a shop to start one: fillbook set-up-shop --help.",
        field="book",
    )
    if "://" not in where and where != ":memory:" and not Path(where).is_file():
        raise none
    db = _connected(where)
    try:
        tables = set(db.get_tables())
        if not tables:
            raise none
        if not {"schema_migration", "event"} <= tables:
            raise Nonsense(
                f"{shown(where)} is another program's database, not a book; name the right one.", field="book"
            )
        steps = _runner(db).status()
        ahead = [step.name for step in steps if step.path is None]
        pending = [step.name for step in steps if step.applied is None]
        if ahead:
            raise Nonsense(
                f"The book at {shown(where)} was written by a newer program ({', '.join(ahead)}): use that one.",
                field="book",
            )
        if newest and pending:
            raise Nonsense(
                f"The book at {shown(where)} is older than this program ({', '.join(pending)} to do): run fillbook upgrade.",
                field="book",
            )
    except DatabaseError as trouble:
        db.close()
        raise Damaged(
            f"{shown(where)} can't be read as a book ({trouble}). Restore it from a backup."
        ) from None
    except ShopError:
        db.close()
        raise
    return Book(db, where)


def shown(where: str) -> str:
    """The address of a book as it is shown: without the password in it."""
    return re.sub(r"(://[^/@:]*):[^/@]*@", r"\1:…@", where)


def _connected(where: str) -> Any:
    db = _database(where)
    try:
        db.connect()
        if "://" not in where:
            db.execute_sql("SELECT count(*) FROM sqlite_master")
    except DatabaseError as trouble:
        db.close()
        first = str(trouble).strip().split("\n")[0]
        if "://" in where:
            raise Damaged(
                f"The book at {shown(where)} can't be reached ({first}). Check the server and the address."
            ) from None
        raise Damaged(f"{where} can't be read as a book ({first}). Restore it from a backup.") from None
    return db


def pending_migrations(db: Any) -> list[str]:
    return [step.name for step in _runner(db).status() if step.applied is None]


def upgrade(where: str) -> tuple[list[str], str | None]:
    """Bring the book at *where* to the newest schema; returns the steps done and the path of the backup made before them."""
    book = open_book(where, newest=False)
    pending = pending_migrations(book.db)
    if not pending:
        book.db.close()
        return [], None
    backup = None
    if not book.postgres:
        from fillbook.trace.book.backup import backup_to

        number = 1
        while Path(backup := f"{where}.before-{pending[0]}-{number}").exists():
            number += 1
        backup_to(book, backup)
    # The runner opens one transaction per step; a transaction of our own around it would keep foreign keys on during a rebuild.
    done = _runner(book.db).up()
    if not book.postgres and (broken := book.tuples("PRAGMA foreign_key_check")):
        raise Damaged(
            f"The upgrade left {len(broken)} rows without what they belong to. Go back to {backup}."
        )
    book.db.close()
    return list(done), backup
