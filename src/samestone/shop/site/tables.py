"""Brings the tables up to date at each start."""

from __future__ import annotations

from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from samestone.shop.guard import install_triggers


def are_up_to_date() -> bool:
    """Whether the tables are those of this version."""
    executor = MigrationExecutor(connection)
    return not executor.migration_plan(executor.loader.graph.leaf_nodes())


def bring_up_to_date() -> None:
    """Makes or migrates the tables where that is needed, and puts the triggers where they are missing."""
    if not are_up_to_date():
        call_command("migrate", interactive=False, verbosity=0)
    install_triggers(connection)
