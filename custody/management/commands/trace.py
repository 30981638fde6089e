"""manage.py trace LOT_OR_SERIAL --back|--forward [--no-graph] [--json]"""

import json

from django.core.management.base import CommandError

from custody.calc.mass import format_grams
from custody.errors import Refusal
from custody.management.ready import ReadyCommand
from custody.queries import trace


class Command(ReadyCommand):
    help = "Traces a lot or bar back to its origins, or a parcel forward to its fates."

    def add_arguments(self, parser):
        parser.add_argument("code", help="a lot's number or a bar's serial")
        way = parser.add_mutually_exclusive_group(required=True)
        way.add_argument("--back", action="store_true")
        way.add_argument("--forward", action="store_true")
        parser.add_argument("--no-graph", action="store_true", help="leave out ancestors or descendants")
        parser.add_argument("--json", action="store_true", help="one JSON document and nothing else")

    def handle(self, *args, code, back, no_graph, **options):
        document = trace.back_document if back else trace.forward_document
        try:
            answer = document(trace.find_lot(code), graph=not no_graph)
        except Refusal as refusal:
            raise CommandError(refusal.sentence) from refusal
        if options["json"]:
            self.stdout.write(json.dumps(answer))
        else:
            self._tell(answer)

    def _tell(self, answer):
        self.stdout.write(f"Lot {answer['lot']}, {answer['direction']}")
        for metal, found in answer["metals"].items():
            self.stdout.write(f"{metal}: {format_grams(found['total_mg'])} g")
            for row in found.get("origins", found.get("fates", [])):
                words = " ".join(str(value) for key, value in row.items() if key != "mg" and value)
                self.stdout.write(f"  {format_grams(row['mg']):>16} g  {words}")
            if found.get("difference_mg"):
                self.stdout.write(f"  {format_grams(found['difference_mg']):>16} g  difference")
        for row in answer.get("unvalued", []):
            words = row.get("origin") or row["lot"]
            self.stdout.write(f"  {format_grams(row['gross_mg']):>16} g  gross, not valued: {words}")
        if "returned_from" in answer:
            self.stdout.write(f"Came back over the counter as this parcel: {answer['returned_from']}")
        for key in ("ancestors", "descendants"):
            if key in answer:
                self.stdout.write(f"{len(answer[key])} {key} {' '.join(answer[key])}".rstrip())
