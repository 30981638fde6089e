"""The one form of every dry, wet and cold step, and its preset, a batch. Melt on receipt is the sampler's."""

from dataclasses import dataclass
from urllib.parse import urlencode

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from custody.actions._post import Posted
from custody.actions.work import record_step
from custody.calc.rules import rule_for
from custody.calc.safety import cautions_for
from custody.models import User
from custody.queries import scope
from custody.roles import Verb, may, verb_of
from custody.staff.entry import Entry, StepForm, allow, place_choices
from custody.staff.lines import STAMPS, AdditionRows, LossRows, LotsInRows, LotsOutRows, OptionalLotsOutRows
from custody.terms import COLUMNS, Addition, Cause, Form, Kind
from custody.web.access import needs
from custody.web.panels import Action, Panel

DRY = (Kind.MELT, Kind.GRANULATE, Kind.INQUART, Kind.CAST_ANODES, Kind.CAST_STRIP, Kind.RECYCLE)
WET = (
    Kind.PART,
    Kind.DISSOLVE,
    Kind.FILTER,
    Kind.PRECIPITATE,
    Kind.WASH,
    Kind.CEMENT_SILVER,
    Kind.CEMENT_COPPER,
    Kind.ELECTROLYSE_SILVER,
    Kind.ELECTROLYSE_GOLD,
    Kind.NEUTRALISE,
    Kind.DISCHARGE,
    Kind.DRY,
)
COLD = (Kind.ROLL, Kind.PUNCH, Kind.ANNEAL, Kind.ADJUST, Kind.STAMP, Kind.CLEAN_OUT)
GROUPS = (("Hot", DRY), ("Wet", WET), ("Cold", COLD))

WORKERS = (Verb.MELT, Verb.REFINE, Verb.CAST, Verb.WEIGH)


@dataclass(frozen=True, slots=True)
class Preset:
    """A step with its usual lines laid out."""

    kind: Kind
    title: str
    sentence: str
    verb: str = "the step"
    makes: tuple[Form, ...] = ()
    adds: tuple[Addition, ...] = ()
    loses: tuple[Cause, ...] = ()


BATCH = Preset(
    Kind.DISSOLVE,
    "Refine a batch",
    "Several lots are dissolved and come out as gold sand, silver chloride, residue and solution, in one operation."
    " To record it as it goes, charge a vessel instead.",
    verb="the batch",
    makes=(Form.GOLD_SAND, Form.SILVER_CHLORIDE, Form.RESIDUE, Form.SOLUTION),
    adds=(Addition.ACID, Addition.WATER, Addition.REAGENT),
    loses=(Cause.FUME, Cause.FILTER),
)


@needs(*WORKERS)
def kinds(request: HttpRequest) -> HttpResponse:
    """Which step? Only those that this person may record; lots that were ticked go along."""
    lots = request.GET.getlist("lot")
    query = "?" + urlencode([("lot", lot) for lot in lots]) if lots else ""
    panels = [
        Panel(title=title, actions=[Action(label=label, url=url + query) for label, url in steps])
        for title, steps in _offered(request.user)
        if steps
    ]
    if len(lots) == 1 and may(request.user.roles, Verb.SAMPLE):
        panels.insert(0, _of_sampler(lots[0], request.user))
    return render(request, "staff/plant/kinds.html", {"panels": panels, "under": ", ".join(lots)})


def _of_sampler(lot: str, viewer: User) -> Panel:
    """What a sampler does with one lot; only a sample is consumed."""
    steps = [("Draw a sample from it", "sample")]
    if scope.lots(viewer).filter(number=lot, form=Form.SAMPLE).exists():
        steps.append(("Consume it as a sample", "consume"))
    actions = [Action(label=label, url=reverse(name, kwargs={"number": lot})) for label, name in steps]
    return Panel(title="Sampling", actions=actions)


def _offered(user: User) -> list[tuple[str, list[tuple[str, str]]]]:
    """The steps that a person may record, group by group: label and address."""
    usual = (
        ("Melt on receipt", "melt-on-receipt", Kind.MELT),
        ("Refine a batch", "batch", Kind.DISSOLVE),
        ("Charge a vessel", "charge", Kind.CHARGE),
        ("Cast bars", "cast", Kind.CAST),
        ("Divide a lot", "divide", Kind.DIVIDE),
    )
    common = [(label, reverse(name)) for label, name, kind in usual if may(user.roles, verb_of(kind))]
    single = [
        (
            title,
            [
                (kind.label.capitalize(), reverse("step", kwargs={"slug": slug_of(kind)}))
                for kind in group
                if may(user.roles, verb_of(kind))
            ],
        )
        for title, group in GROUPS
    ]
    return [("Usual work", common), *single]


@needs(*WORKERS)
def step(request: HttpRequest, slug: str) -> HttpResponse:
    """Any step of the plant but casting bars and runs, which have pages of their own."""
    kind = _kind_of(slug)
    return _page(request, Preset(kind, kind.label.capitalize(), ""))


@needs(Verb.REFINE)
def batch(request: HttpRequest) -> HttpResponse:
    """A whole batch, known from beginning to end, in one operation."""
    return _page(request, BATCH)


def slug_of(kind: Kind) -> str:
    """A kind's name in an address."""
    return kind.value.replace(" ", "-")


def _kind_of(slug: str) -> Kind:
    for kind in (*DRY, *WET, *COLD):
        if slug == slug_of(kind):
            return kind
    raise Http404("There is no such step.")


def _page(request: HttpRequest, preset: Preset) -> HttpResponse:
    allow(request.user, preset.kind)
    entry = _entry(request, preset)
    done = entry.record(lambda: _record(entry, preset), preset.title)
    if done:
        return done
    context = entry.context(
        preset=preset,
        cautions=cautions_for(preset.kind),
        balance_columns=COLUMNS,
        rule=rule_for(preset.kind),
    )
    return render(request, "staff/plant/step.html", context)


def _entry(request: HttpRequest, preset: Preset) -> Entry:
    sent = request.POST if request.method == "POST" else None
    rule = rule_for(preset.kind)
    out_rows = OptionalLotsOutRows if preset.kind is Kind.DISCHARGE else LotsOutRows
    made = {"places": place_choices(), "serials": preset.kind in STAMPS}
    lots = [{"lot": lot} for lot in request.GET.getlist("lot")]
    rows = {"in": LotsInRows(sent, prefix="in", initial=lots)}
    if rule.additions:
        added = [{"what": what.value} for what in preset.adds]
        options = {"additions": rule.additions}
        rows["add"] = AdditionRows(sent, prefix="add", initial=added, form_kwargs=options)
    makes = [{"form": form.value} for form in preset.makes]
    rows["out"] = out_rows(sent, prefix="out", initial=makes, form_kwargs=made)
    loses = [{"cause": cause.value} for cause in preset.loses]
    rows["loss"] = LossRows(sent, prefix="loss", initial=loses, form_kwargs={"causes": rule.causes})
    return Entry(request, StepForm(sent), rows)


def _record(entry: Entry, preset: Preset) -> Posted:
    return record_step(
        kind=preset.kind,
        inputs=[row.take(entry.lots) for row in entry.rows["in"].filled],
        additions=tuple(row.add() for row in entry.rows["add"].filled) if "add" in entry.rows else (),
        outputs=[row.make() for row in entry.rows["out"].filled],
        losses=tuple(row.lose() for row in entry.rows["loss"].filled),
        place=entry.form.cleaned_data["place"],
        **entry.head(),
    )
