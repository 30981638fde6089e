"""manage.py import_history FILE: records an existing plant's history, whole or not at all."""

from django.core.management.base import CommandError

from custody.actions.history import LineRefused, import_history
from custody.management.ready import ReadyCommand


class Command(ReadyCommand):
    help = "Records a history file (format custody-history, version 1), whole or not at all."

    def add_arguments(self, parser):
        parser.add_argument("file")

    def handle(self, *args, file, **options):
        try:
            done = import_history(lines=read_file(file))
        except OSError as error:
            raise CommandError(f"{file}: {error.strerror}") from error
        except LineRefused as refused:
            raise CommandError(f"line {refused.line}: {refused.sentence}") from refused
        self.stdout.write(
            f"{done.operations} operations and {done.parties} parties recorded, {done.known} records known already."
        )


def read_file(path: str) -> list[str]:
    """The lines of a history file. Raises ``LineRefused`` where it is not UTF-8 text."""
    lines = []
    with open(path, "rb") as file:
        for number, raw in enumerate(file, start=1):
            try:
                lines.append(raw.decode("utf-8-sig" if number == 1 else "utf-8"))
            except UnicodeDecodeError:
                raise LineRefused(number, "This line is not UTF-8 text.") from None
    return lines
