"""The index of words: one row of text an item, kept by the database itself, so that no way of writing can forget it.

SQLite keeps it in an FTS5 table of trigrams, PostgreSQL in a table with a trigram index (pg_trgm). Both hold the same text:
every word has two spaces before it, so that a word's first letter or two make a trigram with them and a short word can be
looked up as a beginning.
"""

from typing import Any

from django.db import transaction
from django.db.backends.base.base import BaseDatabaseWrapper

TABLE = "inventory_itemsearch"
_COLUMNS = "code, type_id, name, length_mm, serial, maker, notes, home_id, at_id"
_TRIGGERS = {
    "inventory_itemsearch_added": "inventory_item",
    "inventory_itemsearch_edited": "inventory_item",
    "inventory_itemsearch_deleted": "inventory_item",
    "inventory_itemsearch_type": "inventory_geartype",
    "inventory_itemsearch_place": "inventory_place",
}

_PARTS = (
    "i.code || ' ' || substr(i.code, 1, 4) || '-' || substr(i.code, 5) || ' ' || t.name || ' ' || i.name || ' ' || {length}"
    " || ' ' || i.serial || ' ' || i.maker || ' ' || coalesce(h.name, '') || ' ' || coalesce(a.name, '') || ' ' || i.notes"
)
_FROM = (
    "FROM inventory_item i JOIN inventory_geartype t ON t.id = i.type_id "
    "LEFT JOIN inventory_place h ON h.id = i.home_id LEFT JOIN inventory_place a ON a.id = i.at_id"
)

_SQLITE_LENGTH = "CASE WHEN i.length_mm > 0 THEN printf('%g m %gm', i.length_mm / 1000.0, i.length_mm / 1000.0) ELSE '' END"
_SQLITE_TEXT = (
    "'  ' || replace(replace(replace(replace("
    + _PARTS.format(length=_SQLITE_LENGTH)
    + ", char(13), ' '), char(10), ' '), char(9), ' '), ' ', '  ')"
)
_SQLITE_ROWS = f"SELECT i.id, {_SQLITE_TEXT} {_FROM}"

_POSTGRES_LENGTH = (
    "CASE WHEN i.length_mm > 0 THEN (i.length_mm / 1000.0)::float8::text || ' m ' || (i.length_mm / 1000.0)::float8::text"
    " || 'm' ELSE '' END"
)
_POSTGRES_ROWS = (
    "SELECT i.id, lower('  ' || replace(translate("
    + _PARTS.format(length=_POSTGRES_LENGTH)
    + f", E'\\r\\n\\t', '   '), ' ', '  ')) {_FROM}"
)


def make_table(connection: BaseDatabaseWrapper) -> None:
    """Make the empty table of words; other databases do without."""
    statements = {"sqlite": _SQLITE_TABLE, "postgresql": _POSTGRES_TABLE}.get(connection.vendor, ())
    with connection.cursor() as cursor:
        for statement in statements:
            cursor.execute(statement)


def install(connection: BaseDatabaseWrapper) -> None:
    """Fill the table from all items there are, and put in place what keeps it."""
    statements = {"sqlite": _sqlite, "postgresql": _postgres}.get(connection.vendor)
    if statements is None:
        return
    drop_triggers(connection)
    with transaction.atomic(using=connection.alias), connection.cursor() as cursor:
        for statement in statements():
            cursor.execute(statement)


def refresh_statistics(connection: BaseDatabaseWrapper) -> None:
    """Let the database look at how its rows lie, so that lists are walked in their order and not sorted."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("PRAGMA analysis_limit = 1000")
        for table in ("inventory_item", "inventory_geartype", "inventory_place", "inventory_label"):
            if connection.vendor in {"sqlite", "postgresql"}:
                cursor.execute(f"ANALYZE {table}")


def drop(connection: BaseDatabaseWrapper) -> None:
    """Take the index and what keeps it away."""
    if connection.vendor not in {"sqlite", "postgresql"}:
        return
    drop_triggers(connection)
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TABLE IF EXISTS {TABLE}")


def drop_triggers(connection: BaseDatabaseWrapper) -> None:
    """Take away what keeps the index: SQLite cannot rebuild a table that a trigger elsewhere speaks of."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            for name in _TRIGGERS:
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
        elif connection.vendor == "postgresql":
            tables = connection.introspection.table_names(cursor)
            for name, table in {**_TRIGGERS, "inventory_itemsearch_emptied": "inventory_item"}.items():
                if table in tables:
                    cursor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}")


def is_kept(connection: BaseDatabaseWrapper) -> bool:
    """Say whether the index is there with everything that keeps it."""
    if connection.vendor not in {"sqlite", "postgresql"}:
        return True
    with connection.cursor() as cursor:
        if TABLE not in connection.introspection.table_names(cursor):
            return False
        if connection.vendor == "sqlite":
            cursor.execute("SELECT count(*) FROM sqlite_master WHERE type = 'trigger' AND name LIKE 'inventory_itemsearch_%'")
        else:
            cursor.execute("SELECT count(*) FROM pg_trigger WHERE tgname LIKE 'inventory_itemsearch_%'")
        return cursor.fetchone()[0] >= len(_TRIGGERS)


def before_migrating(sender: Any, using: str, plan: Any = (), **_kw: Any) -> None:
    """Step out of the way of migrations that rebuild a table."""
    from django.db import connections

    if plan and connections[using].vendor == "sqlite":
        drop_triggers(connections[using])


def after_migrating(sender: Any, using: str, **_kw: Any) -> None:
    """Put the index right where a migration, or an older version, has left it without its keepers."""
    from django.db import connections

    connection = connections[using]
    with connection.cursor() as cursor:
        tables = set(connection.introspection.table_names(cursor))
    if {"inventory_item", "inventory_geartype", "inventory_place", TABLE} <= tables and not is_kept(connection):
        install(connection)
    if "inventory_label" in tables:
        refresh_statistics(connection)


_SQLITE_TABLE = (
    f"DROP TABLE IF EXISTS {TABLE}",
    f"CREATE VIRTUAL TABLE {TABLE} USING fts5(text, tokenize='trigram')",
)
_POSTGRES_TABLE = (
    "CREATE EXTENSION IF NOT EXISTS pg_trgm",
    f"CREATE TABLE IF NOT EXISTS {TABLE} (rowid bigint PRIMARY KEY, text text NOT NULL)",
    f"CREATE INDEX IF NOT EXISTS inventory_itemsearch_trigrams ON {TABLE} USING gin (text gin_trgm_ops)",
)


def _sqlite() -> list[str]:
    again = f"UPDATE {TABLE} SET text = (SELECT {_SQLITE_TEXT} {_FROM} WHERE i.id = {TABLE}.rowid)"  # noqa: S608
    return [
        f"DELETE FROM {TABLE}",  # noqa: S608
        f"INSERT INTO {TABLE} (rowid, text) {_SQLITE_ROWS}",
        f"CREATE TRIGGER inventory_itemsearch_added AFTER INSERT ON inventory_item BEGIN "
        f"INSERT INTO {TABLE} (rowid, text) {_SQLITE_ROWS} WHERE i.id = NEW.id; END",
        f"CREATE TRIGGER inventory_itemsearch_edited AFTER UPDATE OF {_COLUMNS} ON inventory_item BEGIN "
        f"{again} WHERE rowid = NEW.id; END",
        f"CREATE TRIGGER inventory_itemsearch_deleted AFTER DELETE ON inventory_item BEGIN "  # noqa: S608
        f"DELETE FROM {TABLE} WHERE rowid = OLD.id; END",
        f"CREATE TRIGGER inventory_itemsearch_type AFTER UPDATE OF name ON inventory_geartype "  # noqa: S608
        f"WHEN OLD.name <> NEW.name BEGIN "
        f"{again} WHERE rowid IN (SELECT id FROM inventory_item WHERE type_id = NEW.id); END",
        f"CREATE TRIGGER inventory_itemsearch_place AFTER UPDATE OF name ON inventory_place "  # noqa: S608
        f"WHEN OLD.name <> NEW.name BEGIN {again} WHERE rowid IN "
        f"(SELECT id FROM inventory_item WHERE home_id = NEW.id UNION SELECT id FROM inventory_item WHERE at_id = NEW.id); END",
    ]


def _postgres() -> list[str]:
    put = f"INSERT INTO {TABLE} (rowid, text) {_POSTGRES_ROWS}"
    again = "ON CONFLICT (rowid) DO UPDATE SET text = EXCLUDED.text"

    def keeper(name: str, body: str) -> str:
        return (
            f"CREATE OR REPLACE FUNCTION inventory_itemsearch_{name}() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN {body}; RETURN NULL; END $$"
        )

    def trigger(name: str, when: str, *, function: str = "", each: str = "ROW", only: str = "") -> str:
        return (
            f"CREATE TRIGGER inventory_itemsearch_{name} AFTER {when} FOR EACH {each} {only} "
            f"EXECUTE FUNCTION inventory_itemsearch_{function or name}()"
        )

    renamed = "WHEN (OLD.name IS DISTINCT FROM NEW.name)"
    return [
        f"TRUNCATE {TABLE}",
        put,
        keeper("item", f"{put} WHERE i.id = NEW.id {again}"),
        keeper("deleted", f"DELETE FROM {TABLE} WHERE rowid = OLD.id"),  # noqa: S608
        keeper("emptied", f"TRUNCATE {TABLE}"),
        keeper("type", f"{put} WHERE i.type_id = NEW.id {again}"),
        keeper("place", f"{put} WHERE i.home_id = NEW.id OR i.at_id = NEW.id {again}"),
        trigger("added", "INSERT ON inventory_item", function="item"),
        trigger("edited", f"UPDATE OF {_COLUMNS} ON inventory_item", function="item"),
        trigger("deleted", "DELETE ON inventory_item"),
        trigger("emptied", "TRUNCATE ON inventory_item", each="STATEMENT"),
        trigger("type", "UPDATE OF name ON inventory_geartype", only=renamed),
        trigger("place", "UPDATE OF name ON inventory_place", only=renamed),
    ]
