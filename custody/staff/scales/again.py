"""A lot weighed again where it stands: what the scale says beside the book, which stays as it is."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render

from custody.actions.weigh_again import weigh_again
from custody.calc.mass import format_grams
from custody.errors import Refusal
from custody.models import Lot, Weighing
from custody.queries import handovers, scope
from custody.roles import Verb
from custody.terms import Form
from custody.web.access import needs
from custody.web.forms import EventForm
from custody.web.weighing import WeighingFields, weighing_kwargs

TELL = "Weigh it on another scale; if it stays, have the accountant correct the book by the difference."


class AgainForm(WeighingFields, EventForm):
    """One weighing of the lot that the page is about."""

    must_weigh = True
    field_order = ("scale", "gross", "tare", "at")


@needs(Verb.WEIGH)
def again(request: HttpRequest, number: str) -> HttpResponse:
    """Who holds a lot weighs it again: after a scale was found faulty, or when something looks wrong."""
    held = scope.lots(request.user).filter(gross_mg__gt=0).exclude(form=Form.IN_PROCESS)
    lot = get_object_or_404(held.select_related("custodian", "place"), number=number)
    form = AgainForm(request.POST or None, **weighing_kwargs(request.user))
    if request.method == "POST" and form.is_valid():
        # What its book and its last weighing were before this one: afterwards this one is the last.
        scale = form.scales[form.cleaned_data["scale"]]
        found = handovers.compare({lot: (scale, form.weighed.net_mg)})
        try:
            kept = weigh_again(
                lot=lot,
                weighed=form.weighed,
                at=form.moment,
                by=request.user,
                request_key=form.cleaned_data["request_key"],
            )
        except Refusal as refusal:
            form.refuse(refusal)
        else:
            _tell(request, lot, kept, found.get(lot.number))
            return redirect("lot", lot.number)
    return render(request, "staff/scales/again.html", {"form": form, "lot": lot})


def _tell(request: HttpRequest, lot: Lot, kept: Weighing, found) -> None:
    off = kept.net_mg - lot.gross_mg
    if found is not None and found.explained:
        messages.success(
            request, f"It weighs {format_grams(kept.net_mg)} g: the scales explain what the book differs by."
        )
        return
    way = "more" if off > 0 else "less"
    said = f"It weighs {format_grams(kept.net_mg)} g, {format_grams(abs(off))} g {way} than the book says."
    messages.warning(request, f"{said} {TELL}")
