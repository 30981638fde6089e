"""A command works on a fresh machine as it stands: the embedded database is laid out when it is not yet."""

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand
from django.db import connections
from django.db.migrations.executor import MigrationExecutor


def lay_out_embedded_database() -> None:
    """Migrates the embedded database when a migration is missing. A server of your own is never touched."""
    if not settings.EMBEDDED_DATABASE:
        return
    executor = MigrationExecutor(connections["owner"])
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        call_command("migrate", verbosity=0, interactive=False)


class ReadyCommand(BaseCommand):
    """A command that finds a laid-out database."""

    def execute(self, *args, **options):
        lay_out_embedded_database()
        return super().execute(*args, **options)
