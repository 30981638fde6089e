"""What all doors share: signing in, the download of an issued paper, and finding a number that was scanned or typed."""

import logging
from urllib.parse import urlencode

from django.contrib.auth.views import LoginView
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from custody.errors import Refusal
from custody.models import User
from custody.queries import lookup, papers, scope
from custody.roles import Verb, may
from custody.web.access import needs
from custody.web.sign_in import SignInForm

logger = logging.getLogger(__name__)

#: The page that shows each kind of thing, and the name of its argument.
PAGE_OF = {
    "box": ("box", "number"),
    "lot": ("lot", "number"),
    "bar": ("lot", "number"),
    "receipt": ("receipt", "number"),
    "operation": ("operation", "number"),
    "run": ("run", "number"),
    "route-order": ("route-order", "number"),
    "settlement": ("settlement", "number"),
    "exchange": ("exchange", "number"),
    "party": ("party", "code"),
    "count": ("counted", "number"),
    "access": ("vault-access", "number"),
    "vessel": ("tank", "code"),
    "place": ("vault-place", "code"),
    "scale": ("scale", "code"),
    "worksheet": ("worksheet", "number"),
    "solution-assay": ("solution-assay", "number"),
    "serial": ("serial-range", "pk"),
}


def first_page_of(person: User) -> str:
    """Customers come in by their own door; everybody else begins with what waits today."""
    own = may(person.roles, Verb.READ_OWN) and not may(person.roles, Verb.READ_BOOK)
    return reverse("portal" if own else "today")


class SignIn(LoginView):
    """The one way in. Failed tries are counted by axes, which locks a name at an address."""

    authentication_form = SignInForm
    redirect_authenticated_user = True

    def get_default_redirect_url(self) -> str:
        return first_page_of(self.request.user)


@require_GET
@needs(Verb.READ_BOOK, Verb.READ_OWN)
def document(request: HttpRequest, pk: int) -> HttpResponse:
    """The bytes of an issued paper, as they were issued; what is outside the viewer's scope is not there."""
    paper = get_object_or_404(scope.documents(request.user), pk=pk)
    try:
        content = papers.content_of(paper)
    except Refusal as refusal:
        logger.error("Document %s (%s): %s", paper.pk, paper.sha256, refusal.sentence)
        return render(request, "damaged_paper.html", {"sentence": refusal.sentence}, status=500)
    copy = f"-copy-{paper.copy_no}" if paper.copy_no > 1 else ""
    name = f"{slugify(paper.title) or f'paper-{paper.pk}'}{copy}.pdf"
    return HttpResponse(
        content,
        content_type="application/pdf",
        headers={
            "Content-Disposition": content_disposition_header(True, name),
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-store",
        },
    )


@require_GET
@needs(Verb.READ_BOOK)
def scan(request: HttpRequest) -> HttpResponse:
    """Where a scanned or typed number leads; a serial on several bars shows them all."""
    code = request.GET.get("code", "").strip()
    found = lookup.find(code, request.user)
    places = [{"found": one, "url": page_of(one)} for one in found]
    if len(places) == 1:
        return redirect(places[0]["url"])
    return render(request, "scan.html", {"code": code, "places": places})


def page_of(found: lookup.Found) -> str:
    """The page of something that was found."""
    name, argument = PAGE_OF[found.kind]
    page = reverse(name, kwargs={argument: found.number})
    return f"{page}?{urlencode({'serial': found.serial})}" if found.serial else page
