"""The sampler's desk: what is to be melted and sampled, carried to the laboratory, decided about, and kept."""

from urllib.parse import urlencode

import django_tables2 as tables
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from custody.actions.issue_labels import issue_made_labels
from custody.errors import Refusal
from custody.models import User
from custody.queries import sampling, scope
from custody.roles import Verb, may
from custody.staff.sampling.tables import Kept, Remainders, ToCarry, ToMelt, ToSample
from custody.web.access import needs
from custody.web.panels import Action


@require_GET
@needs(Verb.SAMPLE, Verb.MELT, Verb.READ_BOOK)
def board(request: HttpRequest) -> HttpResponse:
    """What waits for the sampler."""
    viewer = request.user
    lists = {
        "to_melt": ToMelt(sampling.to_melt(viewer), prefix="melt-"),
        "to_sample": ToSample(sampling.to_sample(viewer), prefix="sample-"),
        "to_carry": ToCarry(sampling.to_carry(viewer), prefix="carry-"),
        "remainders": Remainders(sampling.remainders(viewer), prefix="left-"),
        "kept": Kept(sampling.kept(viewer), prefix="kept-"),
    }
    for table in lists.values():
        tables.RequestConfig(request, paginate={"per_page": 25}).configure(table)
    return render(
        request,
        "staff/sampling/board.html",
        lists
        | {
            "actions": _actions(viewer),
            "may_melt": may(viewer.roles, Verb.MELT),
            "may_sample": may(viewer.roles, Verb.SAMPLE),
        },
    )


def _actions(viewer: User) -> list[Action]:
    """All samples in the viewer's hands, carried to the laboratory in one handover."""
    if not may(viewer.roles, Verb.HAND_OVER):
        return []
    numbers = list(sampling.to_carry(viewer).filter(custodian=viewer).values_list("number", flat=True))
    place = sampling.laboratory_place()
    if not numbers or place is None:
        return []
    asked = urlencode([*(("lot", number) for number in numbers), ("to_place", place.code)])
    label = "Carry your sample" if len(numbers) == 1 else f"Carry your {len(numbers)} samples"
    return [Action(label=f"{label} to the laboratory", url=f"{reverse('handover')}?{asked}", tone="main")]


@require_POST
@needs(Verb.WEIGH)
def labels(request: HttpRequest, number: str) -> HttpResponse:
    """Labels of what an operation made."""
    one = get_object_or_404(scope.operations(request.user), number=number)
    try:
        paper = issue_made_labels(operation=one, at=timezone.now(), by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
        return redirect("operation", number=number)
    messages.success(request, f"{paper.title} are issued: open them under “Papers”.")
    return redirect("operation", number=number)
