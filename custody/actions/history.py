"""Import of an existing plant's records: all of the file or nothing."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction

from custody.actions import _post
from custody.actions._keeper import history_keeper
from custody.actions._record import request_of
from custody.calc.history import read_line
from custody.calc.refusals import Refused
from custody.errors import NumberTaken, Refusal
from custody.models import Operation, Party, Place, User
from custody.terms import Form, PlaceKind, Source

#: Where imported lots stand until somebody takes them over.
HISTORY_PLACE = "HISTORY"


class LineRefused(Exception):
    """One line of the file was refused; nothing of the file was recorded."""

    def __init__(self, line: int, sentence: str) -> None:
        self.line = line
        self.sentence = sentence
        super().__init__(f"line {line}: {sentence}")


@dataclass(frozen=True, slots=True)
class Imported:
    """How many records were new, and how many the book had already."""

    parties: int
    operations: int
    known: int


def import_history(*, lines: Iterable[str], by: User | None = None) -> Imported:
    """Records a history file, whole or not at all; a second import of the same file changes nothing.

    Without ``by`` the records are kept by the keeper of imported history.

    Raises ``LineRefused`` with the line's number and the reason.
    """
    with transaction.atomic(durable=True):
        return _Importer(by or history_keeper()).read(lines)


class _Importer:
    """One reading of one file inside one transaction."""

    def __init__(self, keeper: User) -> None:
        self.keeper = keeper
        Place.objects.get_or_create(
            code=HISTORY_PLACE, defaults={"name": "Imported records", "kind": PlaceKind.STRONGROOM}
        )
        self.known = {
            number: bytes(sha) if sha else b""
            for number, sha in Operation.objects.values_list("number", "request_sha256")
        }
        self.vessels = set(Place.objects.values_list("code", flat=True))
        self.counts = {"party": 0, "operation": 0, "known": 0}

    def read(self, lines: Iterable[str]) -> Imported:
        header = False
        for number, text in enumerate(lines, start=1):
            if not text.strip():
                continue
            try:
                record = read_line(text)
                if (record["record"] == "header") == header:
                    raise Refused("The first record, and only the first, is the header.")
                header = True
                self._take(record)
            except Refused as refused:
                raise LineRefused(number, refused.sentence) from refused
            except Refusal as refusal:
                raise LineRefused(number, refusal.sentence) from refusal
        if not header:
            raise LineRefused(1, "The file is empty: the first record is the header.")
        return Imported(self.counts["party"], self.counts["operation"], self.counts["known"])

    def _take(self, record: dict) -> None:
        if record["record"] == "party":
            self._take_party(record)
        elif record["record"] == "operation":
            self._take_operation(record)

    def _take_party(self, record: dict) -> None:
        party, made = Party.objects.get_or_create(
            code=record["code"], defaults={"name": record["name"], "country": record["country"]}
        )
        if not made and (party.name, party.country) != (record["name"], record["country"]):
            raise Refused(f"Party {party.code} is known already with another name or country.")
        self.counts["party" if made else "known"] += 1

    def _take_operation(self, record: dict) -> None:
        request = request_of(record)
        sha = bytes.fromhex(request["request_sha256"])
        known = self.known.get(request["number"])
        if known is not None:
            if known != sha:
                raise NumberTaken(number=request["number"])
            self.counts["known"] += 1
            return
        self._lay_vessels(request)
        request |= {
            "by": self.keeper.pk,
            "source": str(Source.HISTORY),
            "place": HISTORY_PLACE,
        }
        with _post.refusals():
            _post.post_in_transaction(request)
        self.known[request["number"]] = sha
        self.counts["operation"] += 1

    def _lay_vessels(self, request: dict) -> None:
        for output in request.get("outputs", []):
            vessel = output.get("vessel")
            if output["form"] == Form.IN_PROCESS and vessel and vessel not in self.vessels:
                Place.objects.create(code=vessel, name=vessel, kind=PlaceKind.VESSEL)
                self.vessels.add(vessel)
