"""manage.py balance --from DATE --to DATE [--json]: the balance of a span of local days, both included."""

import json
from datetime import date

from django.core.management.base import CommandError

from custody.calc.mass import format_grams
from custody.management.ready import ReadyCommand
from custody.queries.balance import balance_document


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError as error:
        raise CommandError(f"{text!r} is not a date: write it like 2026-01-31.") from error


class Command(ReadyCommand):
    help = "Opening, received, added, dispatched, losses by cause, differences and closing, per metal."

    def add_arguments(self, parser):
        parser.add_argument("--from", dest="first", required=True, help="first local day, like 2026-01-01")
        parser.add_argument("--to", dest="last", required=True, help="last local day, included")
        parser.add_argument("--json", action="store_true", help="one JSON document (milligrams) and nothing else")

    def handle(self, *args, first, last, **options):
        days = _day(first), _day(last)
        if days[0] > days[1]:
            raise CommandError("The first day lies after the last. Exchange them.")
        found = balance_document(*days)
        if options["json"]:
            self.stdout.write(json.dumps(found))
            return
        for name, column in {"gross": found["gross"], **found["metals"]}.items():
            self.stdout.write(f"{name}, g")
            for word in ("opening", "received", "added", "dispatched", "losses", "differences", "closing"):
                self._tell(word, column[word])
        self.stdout.write(f"not valued, gross, g{format_grams(found['unvalued_gross']):>30}")
        for lot in found["unvalued"]:
            self.stdout.write(f"  {lot['lot']:30}{format_grams(lot['gross_mg']):>18}")

    def _tell(self, word, value):
        if isinstance(value, dict):
            for cause, mg in value.items():
                self.stdout.write(f"  lost, {cause:24}{format_grams(mg):>18}")
        else:
            self.stdout.write(f"  {word:30}{format_grams(value):>18}")
