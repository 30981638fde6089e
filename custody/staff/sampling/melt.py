"""Melt on receipt: parcels of one receipt, each weighed again, become one melt; dip samples follow at once."""

from django.contrib import messages
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from custody.actions._post import Posted
from custody.actions.samples import melt_on_receipt
from custody.calc.fineness import format_percent
from custody.calc.mass import format_grams
from custody.calc.melt_loss import melt_loss_ppm
from custody.calc.refusals import Refused
from custody.calc.rules import rule_for
from custody.calc.safety import FIRST_MELT, cautions_for
from custody.errors import HandoverDifference, Refusal
from custody.models import Lot, User
from custody.queries import sampling, scope
from custody.queries.handovers import compare
from custody.roles import Verb, may
from custody.staff.entry import Entry
from custody.staff.lines import AdditionRows, LossRows
from custody.staff.sampling.forms import DipRows, MeltOutRows, ScaleForm, parcel_rows
from custody.staff.sampling.tables import ApartTable
from custody.terms import COLUMNS, Addition, Cause, Form, Kind, SampleCut
from custody.web.access import needs
from custody.web.weighing import weighing_kwargs

_LOSSES = (Cause.FUME, Cause.MOISTURE, Cause.ORGANICS)


class MeltEntry(Entry):
    """Weights that the scales do not explain are told at every parcel at once: who signs has seen them all."""

    def refuse(self, refusal: Refusal | Refused) -> None:
        if not isinstance(refusal, HandoverDifference):
            super().refuse(refusal)
            return
        self.form.asked = True
        scale = self.rows["out"].forms[0].scales[self.form.cleaned_data["scale"]]
        rows = {row.lot_in(self.lots): row for row in self.rows["in"].filled}
        weighed = {lot: row.weighed_on(scale.code).net_mg for lot, row in rows.items() if lot}
        differences = compare({lot: (scale, mg) for lot, mg in weighed.items()})
        for lot, mg in weighed.items():
            if lot.number in differences and not differences[lot.number].explained:
                rows[lot].tell(lot, mg, differences[lot.number])


@needs(Verb.MELT)
def melt(request: HttpRequest) -> HttpResponse:
    """Parcels of the receipt asked for (``receipt``, or by its lots, ``lot``); without any, to the sampler's desk."""
    viewer = request.user
    named = request.GET.getlist("lot")
    found = _lots(request.GET.get("receipt", ""), named, viewer)
    if not found and request.method != "POST":
        valued = scope.lots(viewer).filter(number__in=named, valued=True)
        if valued:
            messages.info(request, "These lots have their assay: their metals are balanced with the gross.")
            return redirect(f"{reverse('step', kwargs={'slug': 'melt'})}?{request.GET.urlencode()}")
        messages.info(request, "Choose what is to be melted: the receipt's parcels that have no assay yet.")
        return redirect("sampling")
    choice = sampling.meltable(found, named, viewer)
    entry = _entry(request, choice, named)
    done = entry.record(lambda: _record(request, entry), "The melt")
    if done:
        return done
    rule = rule_for(Kind.MELT)
    context = entry.context(
        cautions=(*cautions_for(Kind.MELT), FIRST_MELT),
        balance_columns=COLUMNS[:1],
        apart=ApartTable([{"lot": lot, "why": why} for lot, why in choice.apart]) if choice.apart else None,
        nothing=not choice.together and request.method != "POST",
        sampled=[lot for lot in choice.together if lot.drawn],
        receipt=found[0].receipt.number if found else "",
        band=format_percent(rule.band_ppm),
        tolerance=format_percent(rule.tolerance_ppm),
    )
    return render(request, "staff/sampling/melt.html", context)


def _lots(receipt: str, named: list[str], viewer: User) -> list[Lot]:
    """Unvalued parcels of the receipt, or of that of the first lot named, and whatever else was named."""
    asked = sampling.to_melt(viewer).filter(number__in=named)
    of = scope.receipts(viewer).filter(Q(number=receipt) | Q(receipt_lots__in=asked)).order_by("id").first()
    if of is None:
        return []
    parcels = sampling.parcels_of(of, viewer)
    return parcels + [lot for lot in asked.select_related("owner") if lot.receipt_id != of.pk]


def _entry(request: HttpRequest, choice: sampling.Meltable, named: list[str]) -> MeltEntry:
    sent = request.POST if request.method == "POST" else None
    rule = rule_for(Kind.MELT)
    weighs = weighing_kwargs(request.user)
    into = {"scales": weighs["scales"]}
    first = [{"lot": lot.number, "pick": not named or lot.number in named} for lot in choice.together]
    rows = {
        "in": parcel_rows(sent, first, scales=weighs["scales"]),
        "add": AdditionRows(
            sent, prefix="add", initial=[{"what": Addition.FLUX.value}], form_kwargs={"additions": rule.additions}
        ),
        "out": MeltOutRows(
            sent, prefix="out", initial=[{"form": form.value} for form in (Form.MELT, Form.SLAG)], form_kwargs=into
        ),
    }
    if may(request.user.roles, Verb.SAMPLE):
        rows["dip"] = DipRows(sent, prefix="dip", form_kwargs=weighs)
    rows["loss"] = LossRows(
        sent,
        prefix="loss",
        initial=[{"cause": _LOSSES[0].value}],
        form_kwargs={"causes": _causes(rule.causes), "metals": False},
    )
    return MeltEntry(request, ScaleForm(sent, **weighs), rows)


def _causes(allowed: tuple[Cause, ...]) -> list[Cause]:
    """The step's own causes, what a first melt usually loses in front."""
    return sorted(allowed, key=lambda cause: cause not in _LOSSES)


def _record(request: HttpRequest, entry: MeltEntry) -> Posted:
    said = entry.form.cleaned_data
    scale = said["scale"]
    weighed = {row.number(entry.lots): row.weighed_on(scale) for row in entry.rows["in"].filled}
    made = [row.make(scale) for row in entry.rows["out"].filled]
    melts = [one for one in made if one.form in (Form.MELT, Form.GRANULES)]
    if len(melts) != 1:
        refusal = Refusal("One melt comes out of the furnace: weigh it as melt or as granules, and the slag as slag.")
        raise refusal.at("outputs")
    dipped = entry.rows["dip"].filled if "dip" in entry.rows else []
    dips = [row.make(row.cleaned_data["scale"], SampleCut.DIP, "") for row in dipped]
    posted = melt_on_receipt(
        weighed=weighed,
        melt=melts[0],
        others=[one for one in made if one is not melts[0]],
        dips=dips,
        additions=[row.add() for row in entry.rows["add"].filled],
        losses=[row.lose() for row in entry.rows["loss"].filled],
        place=said["place"],
        **entry.head(),
    )
    before = sum(entry.lots[number].gross_mg for number in weighed if number in entry.lots)
    _tell_loss(request, before, melts[0].gross_mg + sum(dip.gross_mg for dip in dips))
    if dips:
        messages.success(request, f"Its dip samples are recorded as {posted[1].number}.")
    return posted[0]


def _tell_loss(request: HttpRequest, before_mg: int, after_mg: int) -> None:
    ppm = melt_loss_ppm(before_mg, after_mg)
    word, size = ("loss", before_mg - after_mg) if ppm >= 0 else ("gain, flux with it", after_mg - before_mg)
    sentence = f"Melt {word}: {format_grams(size)} g of {format_grams(before_mg)} g, {format_percent(abs(ppm))} %."
    messages.info(request, sentence)
