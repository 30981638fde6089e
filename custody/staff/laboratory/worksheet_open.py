"""Opening a worksheet: what is assayed, how, on which balance, beside which proofs; and the list of worksheets."""

import django_tables2 as tables
from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET

from custody.actions.worksheets import Pieces, Plan, Proofs, open_worksheet
from custody.calc.refusals import Refused
from custody.calc.worksheet import COLUMNS
from custody.errors import Refusal
from custody.models import Lot, ProofMetal, Worksheet
from custody.queries import plant, worksheets
from custody.roles import Verb, may
from custody.staff.lines import Line, Lines
from custody.terms import PRECIOUS, Method, PieceRole
from custody.web.access import needs
from custody.web.forms import BaseForm, CountField, rows_of
from custody.web.lot_field import LotField, show_books
from custody.web.panels import Action
from custody.web.tables import BaseTable, LotColumn, MomentColumn
from custody.web.weighing import scale_choices, scales_in_use

#: Rows that stand ready to be scanned into, one label after the other.
READY = 6
#: Proofs of each kind, unless somebody says otherwise.
TWO = 2


class ProofMetalField(forms.ModelChoiceField):
    """One proof metal in use, by its code and purity."""

    def label_from_instance(self, metal: ProofMetal) -> str:
        return f"{metal.code}, {metal.metal}"


class OpenForm(BaseForm):
    """What the worksheet is for."""

    method = forms.ChoiceField(label="Method", choices=[(one.value, one.label) for one in COLUMNS])
    metal = forms.ChoiceField(label="Metal", choices=[(metal, metal) for metal in PRECIOUS])
    balance = forms.ChoiceField(label="Balance", required=False)
    place = forms.ModelChoiceField(label="Furnace or bench", queryset=None, required=False, empty_label="not said")
    proof = ProofMetalField(label="Gold proof", queryset=None, required=False, empty_label="none")
    proofs = CountField(label="Gold proofs", what="number of proofs", initial=TWO, zero=True, required=False)
    silver = ProofMetalField(label="Silver proof or standard", queryset=None, required=False, empty_label="none")
    silvers = CountField(
        label="Silver proofs",
        what="number of proofs",
        zero=True,
        required=False,
        help_text="Or standards. Blank: two where silver is found.",
    )
    note = forms.CharField(label="Remark", required=False, max_length=500)

    def __init__(self, *args, before: Worksheet | None = None, **kwargs):
        super().__init__(*args, **kwargs)
        self.scales = scales_in_use()
        self.fields["balance"].choices = [("", "none: nothing is weighed"), *scale_choices(self.scales)]
        self.fields["place"].queryset = plant.places()
        if before:
            self.fields["balance"].initial = before.balance.code if before.balance else ""
            self.fields["place"].initial = before.place
        metals = worksheets.proof_metals().filter(active=True)
        for name, metal in (("proof", "Au"), ("silver", "Ag")):
            field = self.fields[name]
            field.queryset = metals.filter(metal=metal)
            field.initial = field.queryset.first()

    def proof_rows(self, method: Method, metal: str, *, silver: bool) -> list[Proofs]:
        """The proofs and standards that run beside the samples of a method."""
        said = self.cleaned_data
        wanted: list[tuple[PieceRole, str, int | None]] = []
        if method is Method.FIRE_ASSAY and metal == "Au":
            wanted.append((PieceRole.PROOF, "proof", said["proofs"]))
        if method is Method.FIRE_ASSAY and (silver or metal == "Ag"):
            wanted.append((PieceRole.SILVER_PROOF, "silver", said["silvers"]))
        if PieceRole.STANDARD in COLUMNS[method]:
            wanted.append((PieceRole.STANDARD, "silver", said["silvers"]))
        rows = []
        for role, field, number in wanted:
            count = TWO if number is None else number
            if count and not said[field]:
                raise Refused("Choose the metal of the proofs, or say that none are run: 0.", field=field)
            if count:
                rows.append(Proofs(role, said[field], count))
        return rows


class ScannedField(LotField):
    """A lot or sample; Enter goes on to the next row's, so that labels are scanned one after the other."""

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"data-down": "lot"}


class PieceLine(Line):
    """One lot, and how many pieces of it are run."""

    silent = frozenset({"portions", "silver"})
    lot = ScannedField(label="Sample or lot")
    portions = CountField(label="Pieces", what="number of pieces", initial=TWO, zero=True)
    silver = CountField(label="Not parted", what="number of pieces", initial=0, zero=True)


class PieceLines(Lines):
    title, row_word, add_label = "Samples", "sample", "Add a sample"
    note = (
        "Scan the labels one after the other; a sample stands for its lot. Pieces that are not parted get no"
        " silver and are only cupelled: silver is what their bead holds besides the gold."
    )

    @property
    def shown(self):
        return self.forms[: max(READY, len(super().shown))]


PieceRows = rows_of(PieceLine, PieceLines, extra=READY, most=30)


@needs(Verb.DETERMINE)
def open_sheet(request: HttpRequest) -> HttpResponse:
    """A new worksheet with its tray laid out."""
    sent = request.POST if request.method == "POST" else None
    first = request.GET.get("lot", "")
    before = worksheets.worksheets(request.user).filter(by=request.user).first()
    form, rows = (
        OpenForm(sent, before=before),
        PieceRows(sent, prefix="piece", initial=[{"lot": first}] if first else None),
    )
    lots = show_books(rows.forms, request.user)
    if sent is not None and all([form.is_valid(), rows.is_valid()]):
        try:
            made = _open(request, form, rows, lots)
        except (Refusal, Refused) as refusal:
            _refuse(form, rows, refusal)
        else:
            messages.success(request, f"Worksheet {made.number} is open: {made.pieces.count()} pieces lie on the tray.")
            return redirect("worksheet", made.number)
    return render(request, "staff/laboratory/worksheet_open.html", {"form": form, "row_sets": [rows]})


def _open(request: HttpRequest, form: OpenForm, rows: PieceRows, lots: dict[str, Lot]) -> Worksheet:
    said = form.cleaned_data
    pieces = []
    for row in rows.filled:
        code = row.cleaned_data["lot"].strip()
        if code not in lots:
            row.add_error("lot", f"There is no lot {code}. Check the number, or scan the label.")
            continue
        pieces.append(Pieces(lots[code], row.cleaned_data["portions"], row.cleaned_data["silver"]))
    if len(pieces) < len(rows.filled):
        raise Refused("Not every label is known.", field="rows")
    method = Method(said["method"])
    plan = Plan(
        method=method,
        metal=said["metal"],
        pieces=pieces,
        proofs=form.proof_rows(method, said["metal"], silver=any(one.silver for one in pieces)),
        place=said["place"],
        balance=form.scales.get(said["balance"]),
        note=said["note"],
    )
    return open_worksheet(plan=plan, at=timezone.now(), by=request.user, request_key=said["request_key"])


def _refuse(form: OpenForm, rows: PieceRows, refusal: Refusal | Refused) -> None:
    """Says what was refused at its field, at the row of its lot, or above the page."""
    if getattr(refusal, "field", "") == "rows":
        return
    for row in rows.filled:
        code = row.cleaned_data.get("lot", "").strip()
        if refusal.field in row.fields and code and code in str(refusal):
            row.add_error(refusal.field, str(refusal))
            return
    form.refuse(refusal)


class Sheets(BaseTable):
    """Worksheets, whole or open."""

    caption = "Worksheets"
    empty_text = "No worksheet was opened yet."
    number = LotColumn(verbose_name="Worksheet", viewname="worksheet")
    method = tables.Column("Method", accessor="get_method_display")
    metal = tables.Column("Metal")
    place = tables.Column("At", default="—")
    by = tables.Column("Opened by")
    at = MomentColumn("Opened")

    class Meta:
        orderable = False


@require_GET
@needs(Verb.DETERMINE, Verb.ACCEPT, Verb.READ_BOOK)
def sheets(request: HttpRequest) -> HttpResponse:
    """Every worksheet, the latest first."""
    table = Sheets(worksheets.worksheets(request.user))
    tables.RequestConfig(request, paginate={"per_page": 25}).configure(table)
    opens = [Action(label="Open a worksheet", url=reverse("worksheet-open"), tone="main")]
    actions = opens if may(request.user.roles, Verb.DETERMINE) else []
    return render(request, "staff/laboratory/worksheets.html", {"table": table, "actions": actions})
