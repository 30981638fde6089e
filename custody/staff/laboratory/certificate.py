"""The certificate of an accepted assay, issued from the laboratory."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.utils import timezone
from django.views.decorators.http import require_POST

from custody.actions.issue_assay import issue_assay
from custody.errors import Refusal
from custody.queries import laboratory
from custody.roles import Verb
from custody.web.access import needs


@require_POST
@needs(Verb.DETERMINE)
def issue(request: HttpRequest, number: str) -> HttpResponse:
    """Issues the certificate of one determination; it is then under “Papers” of its lot."""
    one = get_object_or_404(laboratory.determinations(request.user), number=number)
    try:
        paper = issue_assay(determination=one, at=timezone.now(), by=request.user)
    except Refusal as refusal:
        messages.error(request, refusal.sentence)
    else:
        copy = f", copy {paper.copy_no}" if paper.copy_no > 1 else ""
        messages.success(request, f"{paper.title}{copy} is issued: open it under “Papers”.")
    return redirect("accept", number=one.number)
