"""What is written once stays as it is: triggers that refuse UPDATE and DELETE, on SQLite and on PostgreSQL."""

from __future__ import annotations

from django.db.backends.base.base import BaseDatabaseWrapper

APPEND_ONLY = (
    "shop_reading",
    "shop_reaction",
    "shop_observation",
    "shop_notexamined",
    "shop_photograph",
    "shop_mark",
    "shop_instrumentcheck",
    "shop_entry",
    "shop_payload",
)
_REFUSAL = "is written once and never changed; add a new row that names the old one"


def install_triggers(connection: BaseDatabaseWrapper) -> None:
    """Puts the triggers where they are missing; a rebuilt SQLite table loses its own, so this runs at each start."""
    with connection.cursor() as cursor:
        for statement in _statements(connection.vendor):
            cursor.execute(statement)


def missing_triggers(connection: BaseDatabaseWrapper) -> tuple[str, ...]:
    """The triggers that should be there and are not."""
    catalogue = {
        "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT tgname FROM pg_trigger WHERE tgenabled <> 'D'",
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(catalogue)
        there = {row[0] for row in cursor.fetchall()}
    return tuple(name for table in APPEND_ONLY for name in _names(table) if name not in there)


def _names(table: str) -> tuple[str, str]:
    return f"{table}_no_update", f"{table}_no_delete"


def _statements(vendor: str) -> list[str]:
    if vendor == "sqlite":
        return [
            f"CREATE TRIGGER IF NOT EXISTS {name} BEFORE {event} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} {_REFUSAL}'); END"
            for table in APPEND_ONLY
            for name, event in zip(_names(table), ("UPDATE", "DELETE"), strict=True)
        ]
    function = (
        "CREATE OR REPLACE FUNCTION shop_written_once() RETURNS trigger LANGUAGE plpgsql AS $$ "
        f"BEGIN RAISE EXCEPTION '% {_REFUSAL}', TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation'; END $$"
    )
    triggers = [
        f"CREATE OR REPLACE TRIGGER {name} BEFORE {event} ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION shop_written_once()"
        for table in APPEND_ONLY
        for name, event in zip(_names(table), ("UPDATE", "DELETE OR TRUNCATE"), strict=True)
    ]
    return [function, *triggers]
