"""Runs: charge a vessel, draw products from it, finish it. The content of the vessel is a lot of its own."""

from collections.abc import Sequence
from urllib.parse import urlencode

import django_tables2 as tables
from django import forms
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.actions._post import Posted
from custody.actions.work import Add, Lose, Make, Take, record_step
from custody.calc.balance import total
from custody.calc.mass import plain_grams
from custody.calc.provisional import expected_mg
from custody.calc.rules import RULES, rule_for
from custody.calc.safety import cautions_for
from custody.models import Lot
from custody.queries import plant
from custody.roles import Verb, may
from custody.staff.entry import Entry, StepForm, place_choices, sent_before
from custody.staff.lines import (
    AdditionRows,
    FixedLotRows,
    Lines,
    LossRows,
    LotsInRows,
    LotsOutRows,
    OptionalLotsOutRows,
)
from custody.terms import COLUMNS, METALS, Addition, Cause, Form, Kind, PlaceKind
from custody.web.access import needs
from custody.web.panels import Action, Fact, Panel
from custody.web.tables import BaseTable, LotColumn, MomentColumn

#: Wet and long steps, which have a time by which they should be over.
LONG = tuple(kind for kind, rule in RULES.items() if rule.hours and kind not in (Kind.CHARGE, Kind.DRAW, Kind.FINISH))


class ChargeForm(StepForm):
    """Into which vessel, and for which step."""

    place = None
    vessel = forms.ModelChoiceField(label="Vessel", queryset=None, empty_label="Choose a vessel")
    step = forms.ChoiceField(
        label="Step",
        choices=[(kind.value, kind.label) for kind in LONG],
        initial=Kind.DISSOLVE,
        help_text="A vessel that holds a content already goes on with its own step.",
    )

    field_order = ("vessel", "step", "at", "reason")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["vessel"].queryset = plant.places(PlaceKind.VESSEL)


@needs(Verb.REFINE)
def charge(request: HttpRequest) -> HttpResponse:
    """Lots and additions go into a vessel; nothing is lost yet. What it holds already is charged together with them."""
    sent = request.POST if request.method == "POST" else None
    rule = rule_for(Kind.CHARGE)
    vessel = plant.places(PlaceKind.VESSEL).filter(code=request.GET.get("vessel", "")).first()
    lots = [{"lot": lot} for lot in request.GET.getlist("lot")]
    rows = {
        "in": LotsInRows(sent, prefix="in", initial=lots),
        "add": AdditionRows(sent, prefix="add", form_kwargs={"additions": rule.additions}),
    }
    begun = plant.content_in(vessel, request.user) if vessel else None
    initial = {"vessel": vessel} | ({"step": begun.run.step} if begun else {})
    entry = Entry(request, ChargeForm(sent, initial=initial), rows)
    done = entry.record(lambda: _charge(entry), "The charge")
    if done:
        return done
    chosen = getattr(entry.form, "cleaned_data", {}).get("vessel") or vessel
    content = plant.content_in(chosen, request.user) if chosen else None
    step = content.run.step if content else entry.form["step"].value()
    context = entry.context(content=content, columns=COLUMNS, cautions=_cautions(step))
    return render(request, "staff/plant/charge.html", context)


def _charge(entry: Entry) -> Posted:
    form = entry.form
    vessel = form.cleaned_data["vessel"]
    old = plant.content_in(vessel, entry.request.user)
    takes = [row.take(entry.lots) for row in entry.rows["in"].filled]
    added = [row.add() for row in entry.rows["add"].filled]
    gross = [(add.gross_mg, *(0,) * len(METALS)) for add in added]
    made = total([line.columns_mg for line in entry.going_in()] + gross + ([old.columns_mg] if old else []))
    return record_step(
        kind=Kind.CHARGE,
        step=Kind(form.cleaned_data["step"]),
        inputs=[*([Take(old.number)] if old else []), *takes],
        additions=tuple(added),
        outputs=[Make(Form.IN_PROCESS, made[0], _fine(made[1:]), vessel=vessel.code)],
        place=vessel,
        **entry.head(),
    )


class RunOperations(BaseTable):
    caption = "What was recorded of this run"
    number = LotColumn(verbose_name="Operation", viewname="operation")
    kind = tables.Column("Kind")
    at = MomentColumn("When")
    by = tables.Column("By")
    reason = tables.Column("Reason")

    class Meta:
        orderable = False


@require_GET
@needs(Verb.READ_BOOK)
def run(request: HttpRequest, number: str) -> HttpResponse:
    """One run: what it holds, since when, and what was recorded of it."""
    content = get_object_or_404(plant.content_of_run(request.user), run__number=number)
    now, state = timezone.now(), plant.open_run(content)
    over = content.run.finished_by
    overdue = not over and state.overdue(now)
    holds = [Fact(label=name, mg=mg) for name, mg in zip(("Gross", *METALS), content.columns_mg, strict=True)]
    about = [
        Fact(label="Vessel", value=content.run.vessel),
        Fact(label="Content", value=content.number, url=reverse("lot", kwargs={"number": content.number})),
        Fact(label="Custodian", value=content.custodian),
        Fact(label="Opened", at=state.since),
    ]
    context = {
        "content": content,
        "under": content.run.step,
        "status": "finished" if over else state.due_words(now),
        "tone": "good" if over else "stop" if overdue else "plain",
        "panels": [Panel(title="The run", facts=about), Panel(title="In the vessel, by the book", facts=holds)],
        "operations": RunOperations(plant.operations_of(content.run, request.user)),
        "actions": [] if over or not may(request.user.roles, Verb.REFINE) else _next(content),
    }
    return render(request, "staff/plant/run.html", context)


def _next(content: Lot) -> list[Action]:
    of_run = {"number": content.run.number}
    return [
        Action(label="Draw a product", url=reverse("draw", kwargs=of_run), tone="main"),
        Action(label="Charge again", url=f"{reverse('charge')}?{urlencode({'vessel': content.run.vessel.code})}"),
        Action(label="Finish", url=reverse("finish", kwargs=of_run)),
    ]


@needs(Verb.REFINE)
def draw(request: HttpRequest, number: str) -> HttpResponse:
    """Products leave the vessel, each with its gross and the metals it is said to hold; the rest stays."""
    before = sent_before(request)
    if before:
        return before
    content = get_object_or_404(_open(request), run__number=number)
    sent = _offered(request.POST, content) if request.method == "POST" else None
    rows = {
        "in": _content_rows(sent, content),
        "out": LotsOutRows(sent, prefix="out", initial=[{"form": Form.GOLD_SAND}], form_kwargs=_outputs()),
    }
    rows["out"].title, rows["out"].row_word, rows["out"].add_label = "Products", "product", "Add a product"
    entry = Entry(request, StepForm(sent), rows)
    done = entry.record(lambda: _draw(entry, content), "The draw")
    if done:
        return done
    context = entry.context(content=content, columns=COLUMNS, cautions=_cautions(content.run.step))
    return render(request, "staff/plant/draw.html", context)


def _draw(entry: Entry, content: Lot) -> Posted:
    """Takes what was named; metal that the book lacks is posted as a difference, gross as unweighed water or gas.

    The vessel keeps at least the mass of the metals that stay in it: a product heavier than that leaves was not all
    weighed into the vessel.
    """
    makes = [row.make() for row in entry.rows["out"].filled]
    named = total((make.gross_mg, *(make.fine_mg.get(metal, 0) for metal in METALS)) for make in makes)
    metals = [min(book, mg) for book, mg in zip(content.metals_mg, named[1:], strict=True)]
    staying = sum(content.metals_mg) - sum(metals)
    taken = [min(named[0], content.gross_mg - staying), *metals]
    over = [mg - held for mg, held in zip(named, taken, strict=True)]
    gains = (Lose(Cause.DIFFERENCE, 0, {m: -mg for m, mg in _fine(over[1:]).items()}),) if any(over[1:]) else ()
    return record_step(
        kind=Kind.DRAW,
        inputs=[Take(content.number, taken[0], dict(zip(METALS, taken[1:], strict=True)))],
        additions=(Add(Addition.UNWEIGHED, over[0]),) if over[0] else (),
        outputs=makes,
        losses=gains,
        place=entry.form.cleaned_data["place"],
        **entry.head(),
    )


def _offered(sent: QueryDict, content: Lot) -> QueryDict:
    """What was sent; asked for an offer, with provisional metals in every product that has a gross and no metals."""
    if "offer" not in sent:
        return sent
    filled = sent.copy()
    left = list(content.columns_mg)
    for row in LotsOutRows(sent, prefix="out", form_kwargs=_outputs()).forms:
        row.is_valid()
        said = row.cleaned_data
        if not said.get("gross") or not said.get("form"):
            continue
        metals = [said.get(metal) or 0 for metal in METALS]
        if not any(row[metal].data for metal in METALS):
            metals = list(expected_mg(Form(said["form"]), said["gross"], left, Kind(content.run.step)))
            for metal, mg in zip(METALS, metals, strict=True):
                filled[row.add_prefix(metal)] = plain_grams(mg) if mg else ""
        left = [max(mg - out, 0) for mg, out in zip(left, (said["gross"], *metals), strict=True)]
        left[0] = max(left[0], sum(left[1:]))  # a content never weighs less than its metals, whatever was typed
    return filled


@needs(Verb.REFINE)
def finish(request: HttpRequest, number: str) -> HttpResponse:
    """The vessel is empty: what the book still holds is declared by cause, or carried to another lot."""
    before = sent_before(request)
    if before:
        return before
    content = get_object_or_404(_open(request), run__number=number)
    sent = request.POST if request.method == "POST" else None
    rule = rule_for(Kind.FINISH)
    rows = {
        "in": _content_rows(sent, content),
        "add": AdditionRows(sent, prefix="add", form_kwargs={"additions": rule.additions}),
        "out": OptionalLotsOutRows(sent, prefix="out", initial=[{"form": Form.SOLUTION}], form_kwargs=_outputs()),
        "loss": LossRows(sent, prefix="loss", initial=[{"cause": Cause.EFFLUENT}], form_kwargs={"causes": rule.causes}),
    }
    rows["out"].title, rows["out"].add_label = "Carried to another lot", "Add a lot"
    entry = Entry(request, StepForm(sent), rows)
    done = entry.record(lambda: _finish(entry, content), "The finish")
    if done:
        return done
    context = entry.context(content=content, balance_columns=COLUMNS, cautions=_cautions(content.run.step))
    return render(request, "staff/plant/finish.html", context)


def _finish(entry: Entry, content: Lot) -> Posted:
    return record_step(
        kind=Kind.FINISH,
        inputs=[Take(content.number)],
        additions=tuple(row.add() for row in entry.rows["add"].filled),
        outputs=[row.make() for row in entry.rows["out"].filled],
        losses=tuple(row.lose() for row in entry.rows["loss"].filled),
        place=entry.form.cleaned_data["place"],
        **entry.head(),
    )


def _open(request: HttpRequest) -> QuerySet[Lot]:
    return plant.content_of_run(request.user).filter(run__finished_by=None, gross_mg__gt=0)


def _content_rows(sent: QueryDict | None, content: Lot) -> Lines:
    rows = FixedLotRows(sent, prefix="in", initial=[{"lot": content.number}])
    rows.title, rows.row_word = "In the vessel, by the book", "content"
    return rows


def _outputs() -> dict:
    return {"places": place_choices()}


def _fine(metals: Sequence[int]) -> dict[str, int]:
    return {metal: mg for metal, mg in zip(METALS, metals, strict=True) if mg}


def _cautions(step: str) -> tuple:
    return cautions_for(Kind(step)) if step in set(Kind) else ()
