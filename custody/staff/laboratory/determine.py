"""The form of a determination: fineness per metal, typed or reckoned from the weighings of a fire assay."""

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import get_object_or_404, redirect, render

from custody.actions.assay import determine
from custody.calc.assay import Charge, FireAssay, Proof, fire_assay, format_milligrams, parse_milligrams
from custody.calc.fineness import format_per_mille
from custody.calc.refusals import Refused
from custody.errors import Refusal
from custody.models import Lot
from custody.queries import laboratory, scope
from custody.roles import Verb
from custody.staff.lines import Line, Lines
from custody.terms import METALS, PPM, Method
from custody.web.access import needs
from custody.web.forms import EventForm, GramsField, PerMilleField, rows_of
from custody.web.keeping import Keeps

#: The metals that a cornet or a bead is made of.
_WEIGHED = ("Au", "Ag")


class MilligramsField(GramsField):
    """What an assay balance shows, in milligrams, cleaned to whole micrograms."""

    def parse(self, text: str) -> int:
        return parse_milligrams(text, what=self.what, allow_zero=self.zero)

    def show(self, ug: int) -> str:
        return format_milligrams(ug)


class DeterminationForm(Keeps, EventForm):
    """What the laboratory found, in parts per thousand by mass; a blank metal was not found."""

    method = forms.ChoiceField(label="Method", choices=Method.choices())
    sample = forms.ChoiceField(label="Sample", required=False)
    weighed_metal = forms.ChoiceField(label="Weighings below are of", choices=[(metal, metal) for metal in _WEIGHED])
    note = forms.CharField(label="Remark", widget=forms.Textarea, required=False, max_length=1000)

    field_order = ("method", "sample", "at", *METALS, "weighed_metal", "note")

    def __init__(self, *args, samples: list[Lot], **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["sample"].choices = [("", "the lot itself"), *((lot.number, lot.number) for lot in samples)]
        for metal in METALS:
            self.fields[metal] = PerMilleField(
                label=f"{metal}, ‰", what=f"fineness of {metal}", required=False, zero=True
            )
        self.order_fields(self.field_order)

    @property
    def ppm(self) -> dict[str, int]:
        """The fineness that was given, in parts per million."""
        return {metal: self.cleaned_data[metal] for metal in METALS if self.cleaned_data.get(metal)}


class PieceLine(Line):
    """One assay piece."""

    sample = MilligramsField(label="Sample, mg", what="sample")
    cornet = MilligramsField(label="Cornet, mg", what="cornet", zero=True)


class Pieces(Lines):
    title, row_word, add_label, required, lot_field = "Pieces of a fire assay", "piece", "Add a piece", False, ""
    note = "In milligrams, in duplicate; of silver, weigh the bead. Leave blank when you have only results."


class ProofLine(Line):
    """One proof that went through the same fire and acid."""

    silent = frozenset({"purity"})
    taken = MilligramsField(label="Proof taken, mg", what="proof")
    cornet = MilligramsField(label="Its cornet, mg", what="cornet")
    purity = PerMilleField(label="Purity, ‰", what="purity", initial=PPM)


class Proofs(Lines):
    title, row_word, add_label, required, lot_field = "Proofs", "proof", "Add a proof", False, ""
    note = "What a proof's cornet weighs more than the metal taken is deducted from every piece."


PieceRows = rows_of(PieceLine, Pieces, extra=4, most=20)
ProofRows = rows_of(ProofLine, Proofs, extra=2, most=20)


class _Page:
    """The form and its weighings, and what they come to."""

    def __init__(self, sent: QueryDict | None, samples: list[Lot]) -> None:
        self.form = DeterminationForm(sent, samples=samples)
        self.pieces = PieceRows(sent, prefix="piece")
        self.proofs = ProofRows(sent, prefix="proof")
        self.result: FireAssay | None = None
        self.fault = ""

    def is_valid(self) -> bool:
        readable = [part.is_valid() for part in (self.form, self.pieces, self.proofs)]
        return all(readable) and not self.fault

    def reckon(self) -> None:
        """The fire assay, where pieces were weighed; its result must be the fineness that the form says."""
        if not self.pieces.is_valid() or not self.proofs.is_valid():
            return
        pieces = [Charge(row["sample"], row["cornet"]) for row in self.pieces.rows]
        proofs = [Proof(row["taken"], row["cornet"], row["purity"]) for row in self.proofs.rows]
        if not pieces:
            self.fault = "A proof corrects pieces: weigh at least one piece." if proofs else ""
            return
        self.result = fire_assay(pieces, proofs)

    def note(self) -> str:
        """The remark with the weighings written out, so that the result can be reckoned again for ever."""
        said = [self.form.cleaned_data["note"].strip()]
        if self.result:
            metal = self.form.cleaned_data["weighed_metal"]
            said += [
                f"{metal}: sample {format_milligrams(row['sample'])} mg, cornet {format_milligrams(row['cornet'])} mg,"
                f" {format_per_mille(ppm)} per mille"
                for row, ppm in zip(self.pieces.rows, self.result.results_ppm, strict=True)
            ]
            said += [
                f"Proof {format_milligrams(row['taken'])} mg of {format_per_mille(row['purity'])} per mille,"
                f" cornet {format_milligrams(row['cornet'])} mg"
                for row in self.proofs.rows
            ]
        return "\n".join(line for line in said if line)


@needs(Verb.DETERMINE)
def determination(request: HttpRequest, number: str) -> HttpResponse:
    """Records what the laboratory found. It changes nothing in the book until a second person accepts it."""
    lot = get_object_or_404(scope.lots(request.user).select_related("place", "custodian"), number=number)
    samples = list(laboratory.samples_of(lot, request.user))
    asked = "reckon" in request.POST
    page = _read(request, samples)
    if request.method == "POST" and not asked and page.is_valid():
        try:
            made = _record(request, page, lot, samples)
        except (Refusal, Refused) as refusal:
            page.form.refuse(refusal)
        else:
            messages.success(request, f"Determination {made.number} is recorded. A second person accepts it.")
            return redirect("laboratory")
    page.form.quiet = asked  # the weighings keep their faults: without them the result can't be reckoned
    context = {
        "lot": lot,
        "form": page.form,
        "row_sets": [page.pieces, page.proofs],
        "result": page.result,
        "fault": page.fault,
        "metal": page.form["weighed_metal"].value() or _WEIGHED[0],
    }
    return render(request, "staff/laboratory/determine.html", context)


def _read(request: HttpRequest, samples: list[Lot]) -> _Page:
    """The page as sent, with the fire assay's result filled in where the weighings give one."""
    if request.method != "POST":
        return _Page(None, samples)
    page = _Page(request.POST, samples)
    try:
        page.reckon()
    except Refused as refused:
        page.fault = refused.sentence
    if page.result is None:
        return page
    metal = request.POST.get("weighed_metal") or _WEIGHED[0]
    if metal not in METALS or request.POST.get(metal, "").strip():
        return page
    filled = request.POST.copy()
    filled[metal] = format_per_mille(page.result.mean_ppm)
    full = _Page(filled, samples)
    full.reckon()
    return full


def _record(request: HttpRequest, page: _Page, lot: Lot, samples: list[Lot]):
    form = page.form
    metal = form.cleaned_data["weighed_metal"]
    if page.result and form.ppm.get(metal, 0) != page.result.mean_ppm:
        raise Refused(
            f"The weighings give {format_per_mille(page.result.mean_ppm)} per mille of {metal}, the form says"
            f" {format_per_mille(form.ppm.get(metal, 0))}. Leave the fineness blank to take the result.",
            field=metal,
        )
    return determine(
        lot=lot,
        ppm=form.ppm,
        method=form.cleaned_data["method"],
        sample=next((each for each in samples if each.number == form.cleaned_data["sample"]), None),
        note=page.note(),
        at=form.moment,
        by=request.user,
        request_key=form.cleaned_data["request_key"],
    )
