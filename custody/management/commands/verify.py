"""manage.py verify [--json]: recomputes every invariant from the raw movements and says which hold."""

import json
import sys

from custody.management.ready import ReadyCommand
from custody.queries.verify import Check, verify


class Command(ReadyCommand):
    help = "Recomputes every invariant of the book from its raw rows; exit code 1 and the offending rows otherwise."

    def add_arguments(self, parser):
        parser.add_argument("--json", action="store_true", help="one JSON document and nothing else")

    def handle(self, *args, **options):
        findings = verify()
        if options["json"]:
            self.stdout.write(json.dumps(findings.as_document(), default=str))
        else:
            for check in findings.checks.values():
                self._tell(check)
        if not findings.ok:
            sys.exit(1)

    def _tell(self, check: Check) -> None:
        verdict = "holds" if check.holds else "BROKEN"
        self.stdout.write(f"{check.invariant:<4} {verdict:<6} {check.promise} ({check.checked} checked)")
        for row in check.rows:
            figures = " ".join(f"{key}={value}" for key, value in row.items() if key not in ("where", "what"))
            self.stdout.write(f"       {row['where']}: {row['what']} {figures}".rstrip())
        if check.unlisted:
            self.stdout.write(f"       and {check.unlisted} more")
