"""manage.py import_history FILE: records an existing plant's history, whole or not at all."""

from django.core.management.base import CommandError

from custody.actions.history import LineRefused, import_history, read_file
from custody.management.ready import ReadyCommand


class Command(ReadyCommand):
    help = "Records a history file (format custody-history, version 1), whole or not at all."

    def add_arguments(self, parser):
        parser.add_argument("file")

    def handle(self, *args, file, **options):
        try:
            done = import_history(read_file(file))
        except OSError as error:
            raise CommandError(f"{file}: {error.strerror}") from error
        except LineRefused as refused:
            raise CommandError(f"line {refused.line}: {refused.sentence}") from refused
        self.stdout.write(
            f"{done.operations} operations and {done.parties} parties recorded, {done.known} records known already."
        )
