"""Finding what a scanned or typed number means: a lot, bar, box, paper or run; a vessel, place or scale; a party."""

from dataclasses import dataclass

from custody.models import Place, User
from custody.queries import boxes, plant, scales, scope, serials, tanks
from custody.roles import Verb, may
from custody.terms import Kind, PlaceKind

#: A scanner that sends more has read something else.
LONGEST = 200


@dataclass(frozen=True, slots=True)
class Found:
    """One thing of that number: its ``kind``, the ``number`` of its page, and what it is in ``words``.

    ``serial`` is the one to show there.
    """

    kind: str
    number: str
    words: str
    serial: str = ""


def find(code: str, viewer: User) -> list[Found]:
    """Everything that the viewer may see under a code, as typed or in capitals; a bar by serial or MARK SERIAL YEAR.

    A serial whose bars are cancelled but for one names that one.
    """
    code = " ".join(code.split())
    if not code or len(code) > LONGEST or "\0" in code:
        return []
    return _find(code, viewer) or (_find(code.upper(), viewer) if code != code.upper() else [])


def _find(code: str, viewer: User) -> list[Found]:
    lots = [
        Found("lot", lot.number, f"lot, {lot.get_form_display()}") for lot in scope.lots(viewer).filter(number=code)
    ]
    named = {lot.number for lot in lots}
    operations = [
        Found("receipt", operation.number, "receipt")
        if operation.kind == Kind.RECEIVE
        else Found("operation", operation.number, f"operation, {operation.kind}")
        for operation in scope.operations(viewer).filter(number=code)
    ]
    runs = [lot.run for lot in plant.content_of_run(viewer).filter(run__number=code)]
    others = [Found("run", run.number, f"run, {run.step}") for run in runs]
    others += [
        Found("route-order", one.number, "route order") for one in scope.route_orders(viewer).filter(number=code)
    ]
    others += [Found("settlement", one.number, "settlement") for one in scope.settlements(viewer).filter(number=code)]
    others += [
        Found("exchange", one.number, f"exchange of assays with {one.party}")
        for one in scope.exchanges(viewer).filter(number=code).select_related("party")
    ]
    box = boxes.named(code, viewer)
    others += [Found("box", box.number, f"box, seal {box.seal}")] if box else []
    others += [Found("count", one.number, "count") for one in scope.stock_counts(viewer).filter(number=code)]
    others += [Found("access", one.number, "access") for one in scope.accesses(viewer).filter(number=code)]
    others += [Found("party", one.code, f"party, {one.name}") for one in scope.parties(viewer).filter(code=code)]
    others += _papers(code, viewer) + _standing(code, viewer)
    bars = _bars(code, viewer)
    unborn = [] if bars else _serials(code, viewer)
    return lots + [bar for bar in bars if bar.number not in named] + unborn + operations + others


def _papers(code: str, viewer: User) -> list[Found]:
    """What the laboratory writes under a number of its own."""
    sheets = [Found("worksheet", one.number, "worksheet") for one in scope.worksheets(viewer).filter(number=code)]
    assays = tanks.assays(viewer).filter(number=code).prefetch_related(None)
    return sheets + [Found("solution-assay", one.number, "assay of a solution") for one in assays]


def _standing(code: str, viewer: User) -> list[Found]:
    """A vessel, place or scale, by the code on it: the house's own, nothing to a customer."""
    if not may(viewer.roles, Verb.READ_BOOK):
        return []
    places = [
        Found("vessel" if one.kind == PlaceKind.VESSEL else "place", one.code, str(one))
        for one in Place.objects.filter(code=code)
    ]
    return places + [Found("scale", one.code, f"scale, {one.name}") for one in scales.register().filter(code=code)]


def _serials(code: str, viewer: User) -> list[Found]:
    """A serial that no bar bears, in the ranges set aside; alone, or as MARK SERIAL YEAR."""
    parts = code.split()
    serial = parts[1] if len(parts) == 3 else code
    found = serials.ranges_with(serial, viewer)
    if len(parts) == 3:
        found = [one for one in found if (one.mark, str(one.year)) == (parts[0], parts[2])]
    return [Found("serial", str(one.pk), f"serial {one.mark} {serial} {one.year}", serial) for one in found]


def _bars(code: str, viewer: User) -> list[Found]:
    bars = scope.bars(viewer).filter(serial=code)
    parts = code.split()
    if len(parts) == 3 and parts[2].isascii() and parts[2].isdigit() and len(parts[2]) == 4:
        bars = scope.bars(viewer).filter(mark=parts[0], serial=parts[1], year=int(parts[2]))
    candidates = list(bars.select_related("lot").order_by("id").distinct())
    standing = [bar for bar in candidates if bar.cancelled_by_id is None] or candidates
    return [
        Found("bar", bar.lot.number, f"bar {bar}{', cancelled' if bar.cancelled_by_id else ''}, lot {bar.lot.number}")
        for bar in standing
    ]
