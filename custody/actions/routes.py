"""The plant's settings, and ordering a route by name."""

from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID

from django.db import IntegrityError, models, transaction
from django.utils import timezone

from custody.actions import _post
from custody.actions._allowed import require
from custody.actions._numbers import next_number
from custody.calc.blend import blend
from custody.calc.route import Advice, Step, advise, in_order, silver_for_inquartation_mg
from custody.errors import Refusal, RequestKey
from custody.models import Lot, PlantSettings, RouteOrder, RouteOrderLot, User
from custody.queries import planner
from custody.roles import Verb
from custody.terms import METALS, PPM, Clearance

#: Ten times what an equation asks is a slip of the decimal point.
MOST_EXCESS_PPM = 9 * PPM
#: Between these, in mg/mL, lies every acid that a store keeps; outside them the decimal point has slipped.
LIGHTEST, DENSEST = 900, 2000


def set_plant(
    *, valid_from: date, at: datetime, by: User, note: str = "", request_key: UUID | None = None, **limits
) -> PlantSettings:
    """Sets the plant's limits, excess factors and acids from a date on; earlier rows stay. ``limits`` are the model's.

    The same form sent twice (``request_key``) is one row. Raises ``NotAllowed``, ``Refusal``, and ``Refused`` for
    limits that contradict each other.
    """
    require(by, Verb.SET_PLANT)
    earlier = PlantSettings.objects.filter(request_key=request_key).first() if request_key else None
    if earlier:
        return earlier
    if valid_from < timezone.localdate(at):
        raise Refusal("Settings hold from today or a later day: what was reckoned before stays as it was.").at(
            "valid_from"
        )
    made = PlantSettings(
        valid_from=valid_from, set_by=by, set_at=at, note=note.strip(), request_key=request_key, **limits
    )
    planner.limits_of(made)
    planner.practice_of(made)
    for name in ("nitric_density", "hydrochloric_density"):
        if not LIGHTEST <= getattr(made, name) <= DENSEST:
            raise Refusal("An acid of the store weighs 0.9 to 2 g/mL. Check the decimal point.").at(name)
    for column in made._meta.fields:
        value = getattr(made, column.attname)
        most = MOST_EXCESS_PPM if column.name.endswith("_excess_ppm") else PPM
        if column.name.endswith("_ppm") and value is not None and not 0 <= value <= most:
            raise Refusal(f"This lies between 0 and {most // 10_000} %.").at(column.name)
    with _post.refusals():
        return _once(made, request_key)


def order_route(
    *,
    lots: Sequence[str],
    steps: Sequence[Step],
    wanted_ppm: int,
    at: datetime,
    by: User,
    note: str = "",
    request_key: UUID | None = None,
) -> RouteOrder:
    """Orders a route for lots as they stand, by name; advice, reasons and figures are kept as they were then.

    A route other than the advised one says why. The same form sent twice is one order. Raises ``NotAllowed``,
    ``Refusal`` for lots not valued or released or that may not mix (I7), and ``Refused`` for no step or lot twice.
    """
    require(by, Verb.ORDER_ROUTE)
    earlier = RouteOrder.objects.filter(request_key=request_key).first() if request_key else None
    if earlier:
        if (earlier.ordered_by_id, [line.lot.number for line in earlier.lines.all()]) != (by.pk, list(lots)):
            raise RequestKey(operation=earlier.number)
        return earlier
    if not 0 < wanted_ppm <= PPM:
        raise Refusal("The wanted fineness is more than 0 and at most 1000 ‰.").at("wanted")
    with _post.refusals(), transaction.atomic(durable=True):
        named = _workable(lots)
        settings = planner.settings_on(timezone.localdate(at))
        advice = _advice(named, wanted_ppm, settings)
        ordered = in_order(steps, advice.steps)
        if ordered != advice.steps and not note.strip():
            raise Refusal("This is not the advised route: say why it is ordered.").at("note")
        made = RouteOrder(
            number=next_number("RO", "route", at),
            steps=[str(step) for step in ordered],
            advised=[str(step) for step in advice.steps],
            reasons=list(advice.reasons),
            flags=list(advice.flags),
            wanted_ppm=wanted_ppm,
            silver_to_add_mg=_silver(ordered, named, settings),
            settings=settings if settings.pk else None,
            note=note.strip(),
            ordered_by=by,
            at=at,
            request_key=request_key,
        )
        kept = _once(made, request_key)
        if kept is made:
            RouteOrderLot.objects.bulk_create(_line(made, number, lot) for number, lot in enumerate(named, start=1))
    return kept


def _workable(numbers: Sequence[str]) -> list[Lot]:
    """The lots in their order, if each could go into a batch and together they may mix."""
    found = {lot.number: lot for lot in Lot.objects.filter(number__in=numbers)}
    if not numbers:
        raise Refusal("Name at least one lot.").at("lots")
    for number in numbers:
        if number not in found:
            raise Refusal(f"There is no lot {number}. Check the number, or scan the label.").at("lots")
        lot = found[number]
        if not lot.gross_mg:
            raise Refusal(f"Lot {number} is empty: nothing of it is left in the book.").at("lots")
        if lot.form in planner.NO_FEED:
            raise Refusal(f"Lot {number} is {lot.get_form_display()}: that is no feed of a batch.").at("lots")
        if not lot.valued:
            raise Refusal(f"Lot {number} is not valued: record and accept its assay first.").at("lots")
        if lot.clearance != Clearance.RELEASED:
            raise Refusal(f"Lot {number} is not released by compliance: it goes into no batch yet.").at("lots")
    named = [found[number] for number in numbers]
    blend(planner.feed_of(lot) for lot in named)
    faults = planner.mixing_faults(named)
    if faults:
        raise Refusal(" ".join(faults.values())).at("lots")
    return named


def _fine(lots: Sequence[Lot]) -> dict[str, int]:
    return dict(zip(METALS, blend(planner.feed_of(lot) for lot in lots).metals_mg, strict=True))


def _advice(lots: Sequence[Lot], wanted_ppm: int, settings: PlantSettings) -> Advice:
    gross = sum(lot.gross_mg for lot in lots)
    return advise(gross, _fine(lots), wanted_ppm=wanted_ppm, limits=planner.limits_of(settings))


def _silver(steps: Sequence[Step], lots: Sequence[Lot], settings: PlantSettings) -> int:
    if Step.INQUART not in steps:
        return 0
    return silver_for_inquartation_mg(_fine(lots), gold_share=planner.limits_of(settings).gold_share)


def _line(order: RouteOrder, position: int, lot: Lot) -> RouteOrderLot:
    names = ("gross_mg", "au_mg", "ag_mg", "pt_mg", "pd_mg", "cu_mg")
    amounts = dict(zip(names, lot.columns_mg, strict=True))
    return RouteOrderLot(order=order, position=position, lot=lot, **amounts)


def _once(made: models.Model, request_key: UUID | None) -> models.Model:
    """Keeps a row, or gives the one that the same form sent at the same moment made."""
    try:
        with transaction.atomic():
            made.save(force_insert=True)
    except IntegrityError:
        earlier = type(made).objects.filter(request_key=request_key).first() if request_key else None
        if earlier is None:
            raise
        return earlier
    return made
