"""Everything about one lot: what it is, who holds it, what happened to it, and what this viewer may do with it."""

from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from custody.models import Bar, Lot, Parcel, User
from custody.queries import lot_life, sampling, scope
from custody.queries.amendments import as_amended
from custody.queries.boxes import closed_boxes_of
from custody.roles import Verb, may
from custody.staff.desk import tables as desk_tables
from custody.staff.desk.bar import bar_facts
from custody.staff.sampling.tables import SealTable
from custody.templatetags.metal import permille
from custody.web.access import needs
from custody.web.panels import Action, Fact, Holder, Panel
from custody.web.standing import metal_columns, metals_in, origin_words, owner_words, standing_of

#: Action on a lot with metal in it, the desk that does it, and the verbs of which one allows it.
ACTIONS = (
    ("Work it", "plant", (Verb.MELT, Verb.SAMPLE, Verb.REFINE, Verb.CAST)),
    ("Assay", "laboratory", (Verb.DETERMINE, Verb.ACCEPT)),
    ("Hand over", "vault", (Verb.HAND_OVER,)),
    ("Hold or release", "clearance", (Verb.CLEAR,)),
)
METHOD_METALS = ("pt", "pd", "cu")


@require_GET
@needs(Verb.READ_BOOK)
def lot(request: HttpRequest, number: str) -> HttpResponse:
    """The page of one lot."""
    viewer = request.user
    related = (
        "owner",
        "custodian",
        "place",
        "created_by",
        "receipt",
        "run",
        "bar__replaces",
        "bar__bar_type",
        "parcel__returned_from",
    )
    one = get_object_or_404(scope.lots(viewer).select_related(*related), number=number)
    custody = lot_life.custody_line(one)
    word, tone = standing_of(one)
    return render(
        request,
        "staff/desk/lot.html",
        {
            "lot": one,
            "under": one.get_form_display() + (f", owned by {owner_words(one)}" if one.gross_mg else ""),
            "standing": word,
            "tone": tone,
            "holder": _holder(one, custody),
            "actions": _actions(one, viewer),
            "panels": [
                panel for panel in (_metal(one), _standing(one), _bar(one), _parcel(one), _sample(one, viewer)) if panel
            ],
            "tables": _tables(one, custody, viewer),
        },
    )


def _holder(one: Lot, custody: list[lot_life.Tenure]) -> Holder | None:
    if not one.gross_mg or not custody:
        return None
    last = custody[-1]
    return Holder(who=last.who, where=last.where, since=last.since, note=last.how)


def _actions(one: Lot, viewer: User) -> list[Action]:
    found = []
    if one.gross_mg:
        asked = urlencode({"lot": one.number})
        found = [
            Action(label=label, url=f"{reverse(desk)}?{asked}")
            for label, desk, verbs in ACTIONS
            if any(may(viewer.roles, verb) for verb in verbs)
        ]
    if one.gross_mg and one.custodian_id == viewer.pk and not one.run_id and may(viewer.roles, Verb.WEIGH):
        found.append(Action(label="Weigh again", url=reverse("weigh-again", args=[one.number])))
    if one.gross_mg and may(viewer.roles, Verb.CORRECT):
        found.append(Action(label="Correct", url=reverse("correct", args=[one.number]), tone="stop"))
    bar = getattr(one, "bar", None)
    if bar and not bar.cancelled_by_id and may(viewer.roles, Verb.DISPATCH):
        url = reverse("issue-certificate", args=[one.number])
        found.append(Action(label="Issue the certificate", url=url, method="post"))
    if may(viewer.roles, Verb.TRACE):
        ways = [("Trace back", "back")] + ([("Trace forward", "forward")] if hasattr(one, "parcel") else [])
        found += [Action(label=label, url=reverse("trace", args=[one.number, way])) for label, way in ways]
    return found


def _metal(one: Lot) -> Panel:
    facts = [Fact(label="Gross", mg=one.gross_mg)]
    facts += [
        Fact(label=f"{content.metal} at {permille(content.ppm)}", mg=content.mg)
        for content in lot_life.contents_of(one)
    ]
    if not one.gross_mg:
        note = "Nothing of it is left under this number."
    elif one.valued:
        note = "By the book."
    else:
        note = "Not valued yet: an accepted assay says what metal is in it."
    return Panel(title="Metal", facts=facts, note=note)


def _standing(one: Lot) -> Panel:
    owner = reverse("party", kwargs={"code": one.owner.code}) if one.owner else ""
    word, tone = standing_of(one)
    facts = [Fact(label="Owner", value=owner_words(one), url=owner)] if one.gross_mg else []
    facts += [Fact(label="Compliance", value=word, tone=tone)] if one.gross_mg else []
    facts += [
        Fact(label="Valuation", value="valued" if one.valued else "not valued", tone="good" if one.valued else "wait"),
        Fact(label="Custody model", value=one.custody_model),
        Fact(label="Made by", value=f"{one.created_by.kind} {one.created_by.number}", url=_operation(one.created_by)),
    ]
    if one.receipt:
        number = one.receipt.number
        facts.append(Fact(label="Receipt", value=number, url=reverse("receipt", kwargs={"number": number})))
    exchange = getattr(one, "exchange", None)
    if exchange:
        facts.append(Fact(label="Exchange of assays", value=exchange.number, url=reverse("exchange", args=[exchange])))
    if one.run:
        url = reverse("run", args=[one.run.number])
        facts.append(Fact(label="Run", value=f"{one.run.number}, {one.run.step}", url=url))
    return Panel(title="Standing", facts=facts)


def _operation(operation) -> str:
    return reverse("operation", kwargs={"number": operation.number})


def _bar(one: Lot) -> Panel | None:
    bar: Bar | None = getattr(one, "bar", None)
    if bar is None:
        return None
    facts = [
        Fact(label="Mark", value=bar.mark),
        Fact(label="Serial", value=bar.serial),
        Fact(label="Year", value=str(bar.year)),
    ]
    facts += bar_facts(one)
    box = closed_boxes_of([one]).get(one.pk)
    if box:
        facts.append(Fact(label="In the sealed box", value=box.number, url=reverse("box", args=[box.number])))
    if bar.replaces:
        facts.append(Fact(label="Replaces", value=str(bar.replaces)))
    if bar.cancelled_by_id:
        facts.append(Fact(label="Stamp", value="cancelled", tone="stop"))
    return Panel(title="Bar", facts=facts)


def _parcel(one: Lot) -> Panel | None:
    parcel: Parcel | None = getattr(one, "parcel", None)
    if parcel is None:
        return None
    as_amended([parcel])
    facts = [
        Fact(label="Origin", value=origin_words(one)),
        Fact(label="Pieces", value=parcel.pieces or ""),
        Fact(label="Seal", value=parcel.seal),
        Fact(label="Declared gross", mg=parcel.declared_gross_mg),
        Fact(label="Declared fineness, Au", value=permille(parcel.declared_au_ppm)),
    ]
    if parcel.description:
        facts.append(Fact(label="Description", value=parcel.description))
    if parcel.returned_from:
        back = parcel.returned_from.lot.number
        facts.append(Fact(label="Came back", value=str(parcel.returned_from), url=reverse("lot", args=[back])))
    return Panel(title="As declared", facts=facts, note="Declared by who delivered it, not checked.")


def _sample(one: Lot, viewer: User) -> Panel | None:
    state = sampling.sample_state(one, viewer)
    if state is None:
        return None
    facts = [
        Fact(label="Of lot", value=state.of, url=reverse("lot", args=[state.of]) if state.of else ""),
        Fact(label="Cut", value=state.cut),
        Fact(label="For", value=state.purpose),
        Fact(label="Seal", value=state.seal),
        Fact(label="Position", value=state.position),
        Fact(label="Witness", value=state.witness),
        Fact(label="So since", at=state.since),
    ]
    return Panel(title="Sample", facts=[fact for fact in facts if fact.value or fact.at])


def _tables(one: Lot, custody: list[lot_life.Tenure], viewer: User) -> list:
    """The lists of the page that have something to say, custody first."""
    events = lot_life.events_of(one)
    changes = metal_columns(
        metals_in(event.change_mg for event in events), "change_mg", column=desk_tables.SignedMassColumn
    )
    determinations = list(one.determinations.select_related("by", "acceptance__by", "repeat").order_by("id"))
    rare = [
        (metal, desk_tables.FinenessColumn(metal.capitalize(), accessor=f"{metal}_ppm", orderable=False))
        for metal in METHOD_METALS
        if any(getattr(row, f"{metal}_ppm") for row in determinations)
    ]
    made_of, made_into = lot_life.parents_of(one), lot_life.children_of(one)
    clearance = list(one.clearance_events.select_related("by"))
    seals = sampling.seals_of(one)
    weighings = list(one.weighings.select_related("by").order_by("id"))
    papers = list(lot_life.papers_of(one, viewer))
    Relatives = desk_tables.RelativeTable
    found = [
        (custody, desk_tables.TenureTable(custody, exclude=_unsaid(custody, "note"))),
        (
            events,
            desk_tables.EventTable(
                events,
                extra_columns=changes,
                sequence=("...", "after", "reversed_by"),
                exclude=_unsaid(events, "reversed_by"),
            ),
        ),
        (made_of, Relatives(made_of, caption="Made of")),
        (made_into, Relatives(made_into, caption="Made into")),
        (seals, SealTable(seals)),
        (weighings, desk_tables.WeighingTable(weighings)),
        (
            determinations,
            desk_tables.DeterminationTable(
                determinations,
                extra_columns=rare,
                sequence=("...", *(m for m, _ in rare), "by", "standing", "accepted_by"),
            ),
        ),
        (clearance, desk_tables.ClearanceEventTable(clearance)),
        (papers, desk_tables.DocumentTable(papers)),
    ]
    return [table for rows, table in found if rows]


def _unsaid(rows: list, *columns: str) -> tuple[str, ...]:
    """Columns in which no row says anything: they are left out."""
    return tuple(column for column in columns if not any(getattr(row, column) for row in rows))
