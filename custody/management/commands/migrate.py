"""`migrate` as the role that owns the tables; the application's role may not create any."""

from django.core.management.base import CommandError
from django.core.management.commands import migrate
from django.db import connections


class Command(migrate.Command):
    def add_arguments(self, parser):
        super().add_arguments(parser)
        parser.set_defaults(database="owner")

    def handle(self, *args, **options):
        if options["database"] != "owner":
            raise CommandError("Migrations run as the owner of the tables: leave --database out.")
        if "owner" not in connections:
            raise CommandError("Set DATABASE_OWNER_URL: migrations run as the owner of the tables, custody_owner.")
        super().handle(*args, **options)
