"""What the plant's board shows: lots where they stand, open runs, what an operator may work, the next bar's serial."""

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db.models import F, QuerySet

from custody.calc.rules import rule_for
from custody.models import Lot, Operation, Place, Run, User
from custody.queries import scope
from custody.terms import Clearance, Form, PlaceKind

#: Where the plant works; counter and vault have desks of their own.
PLANT = (PlaceKind.LABORATORY, PlaceKind.FURNACE, PlaceKind.VESSEL, PlaceKind.WORKSHOP, PlaceKind.STRONGROOM)


def places(*kinds: PlaceKind) -> QuerySet[Place]:
    """Places in use, of these kinds or of all."""
    found = Place.objects.filter(active=True)
    return found.filter(kind__in=kinds) if kinds else found


def lots_by_place(viewer: User) -> QuerySet[Lot]:
    """Every lot with mass in it that stands in the plant, place by place."""
    standing = scope.lots(viewer).filter(gross_mg__gt=0, place__kind__in=PLANT).exclude(form=Form.IN_PROCESS)
    return standing.select_related("place", "custodian").order_by("place__code", "id")


def in_custody_of(viewer: User) -> QuerySet[Lot]:
    """Lots with mass in the viewer's own custody, contents of vessels apart."""
    held = scope.lots(viewer).filter(custodian=viewer, gross_mg__gt=0).exclude(form=Form.IN_PROCESS)
    return held.select_related("place").order_by("-last_at", "-id")


def ready_to_work(viewer: User) -> QuerySet[Lot]:
    """What the viewer may work now: in their custody and released."""
    return in_custody_of(viewer).filter(clearance=Clearance.RELEASED)


def waiting_for_release(viewer: User) -> QuerySet[Lot]:
    """What the viewer holds and compliance has not released: it may be melted and sampled, not mixed with others."""
    return in_custody_of(viewer).filter(clearance=Clearance.AWAITING)


@dataclass(frozen=True, slots=True)
class OpenRun:
    """A run under way: its content as the book has it, and until when its step allows it to be open."""

    run: Run
    content: Lot
    since: datetime
    due: datetime

    def overdue(self, now: datetime) -> bool:
        """Whether the run is open longer than its step allows."""
        return now > self.due

    def due_words(self, now: datetime) -> str:
        """``overdue by 3 hours``, ``due in 2 days``."""
        return f"overdue by {_span(now - self.due)}" if self.overdue(now) else f"due in {_span(self.due - now)}"


def _span(length: timedelta) -> str:
    minutes = int(length.total_seconds()) // 60
    for size, word in ((60 * 24, "day"), (60, "hour"), (1, "minute")):
        if minutes >= size * (2 if word == "day" else 1):
            count = minutes // size
            return f"{count} {word}{'' if count == 1 else 's'}"
    return "less than a minute"


def open_runs(viewer: User) -> list[OpenRun]:
    """Runs under way, the oldest first."""
    contents = scope.lots(viewer).filter(
        form=Form.IN_PROCESS, gross_mg__gt=0, run__finished_by=None, pk=F("run__content_id")
    )
    return [_open_run(lot) for lot in _with_run(contents).order_by("run__opened_by__at")]


def content_of_run(viewer: User) -> QuerySet[Lot]:
    """The contents of runs as they are now, open or finished, with their runs."""
    return _with_run(scope.lots(viewer).filter(form=Form.IN_PROCESS, pk=F("run__content_id")))


def content_in(vessel: Place, viewer: User) -> Lot | None:
    """What a vessel holds, or nothing."""
    held = scope.lots(viewer).filter(place=vessel, form=Form.IN_PROCESS, gross_mg__gt=0)
    return held.select_related("place", "custodian", "run").first()


def operations_of(run: Run, viewer: User) -> QuerySet[Operation]:
    """What was recorded of a run, in order."""
    return scope.operations(viewer).filter(run=run).select_related("by").order_by("id")


def open_run(content: Lot) -> OpenRun:
    """The run of a content."""
    return _open_run(content)


def _with_run(lots: QuerySet[Lot]) -> QuerySet[Lot]:
    return lots.select_related("custodian", "place", "run__vessel", "run__opened_by", "run__finished_by")


def _open_run(content: Lot) -> OpenRun:
    since = content.run.opened_by.at
    return OpenRun(content.run, content, since, since + timedelta(hours=rule_for(content.run.step).hours))
