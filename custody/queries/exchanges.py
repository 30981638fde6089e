"""Exchanges of assays: which lots are due for one, where each stands, what it came to, and every step of it."""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from django.db.models import BigIntegerField, Exists, F, Func, OuterRef, Prefetch, Q, QuerySet

from custody.calc.exchange import Outcome, Settled, UmpireRule, settle
from custody.models import Determination, Edge, Exchange, ExchangeResult, ExchangeTerms, Lot, Party, User
from custody.queries import scope
from custody.terms import METALS, ExchangeSide, Form, SamplePurpose, Term

#: Metals that are exchanged; copper is the refinery's to say.
EXCHANGED = METALS[:4]


class State(Term):
    """Where an exchange stands."""

    AWAITING_BOTH = "awaiting both results"
    AWAITING_REFINERY = "awaiting the refinery"
    AWAITING_CUSTOMER = "awaiting the customer"
    INSIDE = "open: inside the limits"
    TO_UMPIRE = "open: to the umpire"
    UMPIRED = "open: umpire answered"
    ALONE = "open: refinery's alone"
    SETTLED = "settled, to be accepted"
    VALUED = "valued"
    OVER = "over: worked on first"


class Standing(Term):
    """What a list of exchanges is asked for."""

    ALL = "all"
    AWAITED = "a result is awaited"
    OPEN = "both results are in"
    SETTLED = "settled, to be accepted"
    VALUED = "valued"


@dataclass(frozen=True, slots=True)
class Seen:
    """An exchange as far as it may be seen: results by side, what they come to, determinations that came of it."""

    exchange: Exchange
    results: dict[str, ExchangeResult]
    lines: tuple[Settled, ...]
    determinations: list[Determination]
    state: State

    @property
    def disputed(self) -> list[str]:
        """Metals that the umpire is asked for."""
        return [line.exchanged.metal for line in self.lines if line.exchanged.outcome is Outcome.UMPIRE]

    @property
    def pending(self) -> Determination | None:
        """The settled assay that waits for its acceptance; None where there is none, or it was put aside."""
        last = self.determinations[-1] if self.determinations else None
        done = last is None or hasattr(last, "acceptance") or hasattr(last, "repeat")
        return None if done else last

    @property
    def open(self) -> bool:
        """Whether figures may be seen."""
        return any(result.opened for result in self.results.values())


@dataclass(frozen=True, slots=True)
class Happened:
    """One step of an exchange."""

    what: str
    by: User
    at: datetime
    note: str = ""


def exchange_due(lot: str = "pk") -> Func:
    """Of the lot in a column of a query: the terms under which its assays are to be exchanged; NULL where not."""
    return Func(F(lot), function="custody_exchange_due", output_field=BigIntegerField())


def terms_due(lot: Lot) -> ExchangeTerms | None:
    """The terms under which the lot's assays are to be exchanged before it is valued; None where they are not."""
    due = Lot.objects.filter(pk=lot.pk).values_list(exchange_due(), flat=True).first()
    return ExchangeTerms.objects.select_related("party", "umpire").filter(pk=due).first() if due else None


def exchange_of(lot: Lot) -> Exchange | None:
    """The exchange of a lot's assays, if one was opened."""
    return Exchange.objects.filter(lot=lot).first()


def due(viewer: User) -> QuerySet[Lot]:
    """Lots with mass that wait for an exchange to be opened, with their determinations (``found``)."""
    found = Determination.objects.order_by("id")
    return (
        scope.lots(viewer)
        .filter(gross_mg__gt=0, valued=False, exchange=None)
        .annotate(exchange_terms=exchange_due())
        .filter(exchange_terms__isnull=False)
        .select_related("receipt__party")
        .prefetch_related(Prefetch("determinations", queryset=found, to_attr="found"))
        .order_by("id")
    )


def listed(viewer: User, standing: str = "", words: str = "") -> QuerySet[Exchange]:
    """Exchanges that the viewer may see, the latest first, narrowed by standing and words of number, lot or party."""
    found = scope.exchanges(viewer).select_related("lot__receipt", "party", "terms__umpire", "by").order_by("-id")
    for word in words.split():
        found = found.filter(
            Q(number__icontains=word)
            | Q(lot__number__icontains=word)
            | Q(party__code__iexact=word)
            | Q(party__name__icontains=word)
        )
    opened = Exists(ExchangeResult.objects.filter(exchange=OuterRef("pk"), opened=True))
    came = Exists(Determination.objects.filter(exchange=OuterRef("pk")))
    return {
        Standing.AWAITED: found.filter(~opened, lot__valued=False),
        Standing.OPEN: found.filter(opened, ~came),
        Standing.SETTLED: found.filter(came, lot__valued=False),
        Standing.VALUED: found.filter(came, lot__valued=True),
    }.get(standing, found)


def both_open(viewer: User) -> QuerySet[Exchange]:
    """Exchanges whose results lie open and that came to nothing yet: to be recorded, or to go to the umpire."""
    return listed(viewer, Standing.OPEN).filter(lot__valued=False, lot__gross_mg__gt=0)


def awaiting_refinery(viewer: User) -> QuerySet[Exchange]:
    """Exchanges in which the refinery has not handed in."""
    ours = Exists(ExchangeResult.objects.filter(exchange=OuterRef("pk"), side=ExchangeSide.REFINERY))
    return scope.exchanges(viewer).filter(~ours, lot__valued=False, lot__gross_mg__gt=0)


def see(exchanges: Sequence[Exchange]) -> list[Seen]:
    """These exchanges with all that may be seen of them; always the same number of queries."""
    results: dict[int, dict[str, ExchangeResult]] = defaultdict(dict)
    for result in ExchangeResult.objects.filter(exchange__in=exchanges).select_related("by", "determination"):
        results[result.exchange_id][result.side] = result
    came = defaultdict(list)
    made = Determination.objects.filter(exchange__in=exchanges).select_related("by", "acceptance__by", "repeat__by")
    for one in made.order_by("id"):
        came[one.exchange_id].append(one)
    return [_seen(one, results[one.pk], came[one.pk]) for one in exchanges]


def candidates(exchange: Exchange) -> list[Determination]:
    """Determinations of the lot that the refinery may hand in: recorded, not accepted, not themselves an exchange's."""
    found = Determination.objects.filter(lot=exchange.lot_id, exchange=None, acceptance=None, repeat=None)
    return list(found.select_related("by").order_by("-id"))


def umpire_samples(lot: Lot, viewer: User) -> list[Lot]:
    """Samples of the lot that lie sealed for an umpire, by the purpose that they were cut or last sealed for."""
    drawn = Edge.objects.filter(parent_id=lot.pk, operation__reversed_by__isnull=True).values("child_id")
    samples = (
        scope.lots(viewer)
        .filter(form=Form.SAMPLE, pk__in=drawn, gross_mg__gt=0)
        .select_related("sample", "place", "custodian")
        .prefetch_related("seals")
        .order_by("id")
    )
    return [one for one in samples if kept_under(one)[0] == SamplePurpose.UMPIRE]


def kept_under(sample: Lot) -> tuple[str, str]:
    """What a sample is kept for, and the seal that it lies under: as last sealed, or else as cut."""
    seals = list(sample.seals.all())
    cut = getattr(sample, "sample", None)
    last = seals[-1] if seals else cut
    return (last.purpose, last.seal) if last else ("", "")


def steps(seen: Seen) -> list[Happened]:
    """Everything that happened, in order."""
    one = seen.exchange
    found = [Happened("Exchange opened", one.by, one.at, f"by the terms from {one.terms.valid_from}")]
    for side, result in seen.results.items():
        words = ", ".join(word for word in (result.laboratory, result.reference) if word)
        found.append(Happened(f"Result of the {side} in", result.by, result.at, words or "sealed"))
    for each in seen.determinations:
        found.append(Happened("Settled assay recorded", each.by, each.at, each.number))
        accepted, repeat = getattr(each, "acceptance", None), getattr(each, "repeat", None)
        if repeat:
            found.append(
                Happened("Settled assay not accepted", repeat.by, repeat.at, f"{each.number}: {repeat.sentence}")
            )
        if accepted:
            found.append(
                Happened("Settled assay accepted", accepted.by, accepted.at, f"{each.number}: the lot is valued")
            )
    return sorted(found, key=lambda step: step.at)


def agreed_with(party: Party) -> list[ExchangeTerms]:
    """The exchange terms agreed with a party, the latest first."""
    return list(party.exchange_terms.select_related("umpire", "agreed_by"))


def _seen(one: Exchange, results: dict[str, ExchangeResult], came: list[Determination]) -> Seen:
    sealed = Seen(one, results, _lines(one, results), came, State.AWAITING_BOTH)
    return replace(sealed, state=_state(sealed))


def _lines(one: Exchange, results: dict[str, ExchangeResult]) -> tuple[Settled, ...]:
    ours = results.get(ExchangeSide.REFINERY)
    if ours is None or not ours.opened:
        return ()
    theirs, third = results.get(ExchangeSide.CUSTOMER), results.get(ExchangeSide.UMPIRE)
    return settle(
        ours.ppm,
        theirs.ppm if theirs else None,
        one.terms.limits_ppm,
        third.ppm if third else {},
        UmpireRule(one.terms.rule),
    )


def _state(seen: Seen) -> State:
    results, lot = seen.results, seen.exchange.lot
    if seen.pending or (seen.determinations and lot.valued):
        return State.VALUED if lot.valued else State.SETTLED
    if not lot.gross_mg:
        return State.OVER
    if any(line.settled_ppm is None for line in seen.lines):
        return State.TO_UMPIRE
    if seen.lines and ExchangeSide.CUSTOMER not in results:
        return State.ALONE
    if seen.lines:
        return State.UMPIRED if ExchangeSide.UMPIRE in results else State.INSIDE
    return {
        (False, False): State.AWAITING_BOTH,
        (False, True): State.AWAITING_REFINERY,
        (True, False): State.AWAITING_CUSTOMER,
    }[ExchangeSide.REFINERY in results, ExchangeSide.CUSTOMER in results]
