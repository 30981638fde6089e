"""The laboratory's lists: lots without an assay and their samples, determinations that wait, those accepted."""

import django_tables2 as tables
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET

from custody.models import User
from custody.queries import laboratory, scope, tanks, worksheets
from custody.roles import Verb, may
from custody.staff.laboratory.solution_tables import WaitingSolutions
from custody.staff.laboratory.worksheet_open import Sheets
from custody.terms import Form
from custody.web.access import needs
from custody.web.panels import Action
from custody.web.tables import BaseTable, LotColumn, MassColumn, MomentColumn, ResultColumn


class UnvaluedLots(BaseTable):
    caption = "Lots without an accepted assay"
    empty_text = "Every lot has its assay."
    number = LotColumn(verbose_name="Lot")
    form = tables.Column("Form", accessor="get_form_display")
    receipt = LotColumn(verbose_name="Receipt", viewname="receipt", accessor="receipt__number")
    keeper = tables.Column("Held by", accessor="custodian")
    place = tables.Column("At", accessor="place")
    gross = MassColumn("Gross", accessor="gross_mg")
    samples = tables.TemplateColumn(verbose_name="Samples", template_name="staff/laboratory/samples.html")
    todo = tables.TemplateColumn(verbose_name="Next", template_name="staff/laboratory/todo.html")

    class Meta:
        orderable = False


class Determinations(BaseTable):
    """Fineness as determined, in parts per thousand."""

    number = LotColumn(verbose_name="Determination", viewname="accept")
    lot = LotColumn(verbose_name="Lot", accessor="lot__number")
    method = tables.Column("Method")
    by = tables.Column("Determined by")
    at = MomentColumn("Determined")
    gold = ResultColumn("Au", accessor="au_ppm")
    silver = ResultColumn("Ag", accessor="ag_ppm")

    class Meta:
        orderable = False


class WaitingDeterminations(Determinations):
    caption = "Determinations waiting for a second person"
    empty_text = "Nothing waits for acceptance."
    todo = tables.TemplateColumn(verbose_name="Next", template_name="staff/laboratory/look.html")

    class Meta(Determinations.Meta):
        pass


class AcceptedDeterminations(Determinations):
    caption = "Accepted determinations"
    empty_text = "No determination was accepted yet."
    accepted_by = tables.Column("Accepted by", accessor="acceptance__by")
    accepted_at = MomentColumn("Accepted", accessor="acceptance__at")

    class Meta(Determinations.Meta):
        pass


class OpenSheets(Sheets):
    caption = "Open worksheets"
    empty_text = "No worksheet is open."

    class Meta(Sheets.Meta):
        pass


class Repeats(BaseTable):
    caption = "To be assayed again"
    empty_text = "Nothing is to be assayed again."
    lot = LotColumn(verbose_name="Lot", accessor="lot__number")
    worksheet = LotColumn(verbose_name="Worksheet", viewname="worksheet", accessor="worksheet__number", default="—")
    sentence = tables.Column("Why")
    by = tables.Column("Ordered by")
    at = MomentColumn("Ordered")

    class Meta:
        orderable = False


@require_GET
@needs(Verb.DETERMINE, Verb.ACCEPT, Verb.READ_BOOK)
def board(request: HttpRequest) -> HttpResponse:
    """What waits for the sampler, for the assayer, and for a second person. Asked about a lot, what is next for it."""
    viewer = request.user
    if request.GET.get("lot"):
        return redirect(_next_for(request.GET["lot"], viewer))
    lists = {
        "unvalued": UnvaluedLots(laboratory.unvalued(viewer), prefix="lots-"),
        "waiting": WaitingDeterminations(laboratory.acceptable(viewer), prefix="waits-"),
        "sheets": OpenSheets(worksheets.open_worksheets(viewer), prefix="sheets-"),
        "repeats": Repeats(worksheets.repeats_waiting(viewer), prefix="again-"),
        "solutions": WaitingSolutions(tanks.waiting_assays(viewer), prefix="tanks-"),
        "accepted": AcceptedDeterminations(laboratory.accepted(viewer), prefix="done-"),
    }
    for table in lists.values():
        tables.RequestConfig(request, paginate={"per_page": 25}).configure(table)
    rights = {
        "actions": _actions(viewer),
        "may_sample": may(viewer.roles, Verb.SAMPLE),
        "may_determine": may(viewer.roles, Verb.DETERMINE),
        "may_accept": may(viewer.roles, Verb.ACCEPT),
    }
    return render(request, "staff/laboratory/board.html", lists | rights)


def _actions(viewer: User) -> list[Action]:
    """Where the viewer goes from here."""
    opens = [Action(label="Open a worksheet", url=reverse("worksheet-open"), tone="main")]
    passes = [Action(label="Hand over lots", url=reverse("handover"))]
    return [
        *(opens if may(viewer.roles, Verb.DETERMINE) else []),
        Action(label="Worksheets", url=reverse("worksheets")),
        Action(label="Solutions and tanks", url=reverse("solutions")),
        Action(label="Exchanges of assays", url=reverse("exchanges")),
        Action(label="Proof metals", url=reverse("proof-metals")),
        Action(label="Control chart", url=reverse("proofs")),
        *(passes if may(viewer.roles, Verb.HAND_OVER) else []),
    ]


def _next_for(number: str, viewer: User) -> str:
    """The page on which the viewer goes on with a lot: accept what another determined, or determine it."""
    if scope.lots(viewer).filter(number=number, form__in=(Form.SOLUTION, Form.IN_PROCESS)).exists():
        return reverse("solution", kwargs={"number": number})
    one = laboratory.acceptable(viewer).filter(lot__number=number).exclude(by=viewer).exclude(worked=True).first()
    if one and may(viewer.roles, Verb.ACCEPT):
        return reverse("accept", kwargs={"number": one.number})
    if may(viewer.roles, Verb.DETERMINE):
        return reverse("determine", kwargs={"number": number})
    return reverse("laboratory")
