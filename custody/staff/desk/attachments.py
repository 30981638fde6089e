"""Photographs and papers of a delivery: attached on the receipt's page, handed out only unchanged."""

import logging

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.utils.http import content_disposition_header
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from custody.actions.attach import attach
from custody.errors import Refusal
from custody.models import Attachment, Lot, Operation, User
from custody.queries import attachments, scope
from custody.roles import Verb, may
from custody.terms import AttachmentKind
from custody.web.access import needs
from custody.web.files import FilesField
from custody.web.forms import BaseForm

logger = logging.getLogger(__name__)


class AttachmentForm(BaseForm):
    """What is attached, and to what of the receipt."""

    kind = forms.ChoiceField(label="What it shows", choices=AttachmentKind.choices())
    parcel = forms.ModelChoiceField(
        label="Of parcel", queryset=Lot.objects.none(), required=False, empty_label="the whole delivery"
    )
    title = forms.CharField(
        label="Title", required=False, max_length=200, help_text="Blank: the name of the file.",
        widget=forms.TextInput(attrs={"data-scan": True, "autocomplete": "off"}),
    )  # fmt: skip
    photographs = FilesField(label="Take photographs", camera=True, help_text="With the tablet’s camera.")
    files = FilesField(label="Files", help_text="PDF, JPEG, PNG, WebP or HEIC, up to 10 MB each.")

    def __init__(self, *args, receipt: Operation, **kwargs):
        super().__init__(*args, auto_id="id_attach_%s", **kwargs)
        self.receipt = receipt
        self.fields["parcel"].queryset = Lot.objects.filter(created_by=receipt)

    def clean(self):
        told = self.cleaned_data
        if not self.errors and not told["photographs"] and not told["files"]:
            self.add_error("files", "Take a photograph, or choose a file.")

    def record(self, by: User) -> list[Attachment]:
        """Attaches every file in turn; a refusal stops at the one that it is about. Raises ``Refusal``."""
        told = self.cleaned_data
        return [
            attach(
                receipt=self.receipt,
                lot=told["parcel"],
                kind=AttachmentKind(told["kind"]),
                title=told["title"],
                name=name,
                content=content,
                at=timezone.now(),
                by=by,
            )
            for name, content in [*told["photographs"], *told["files"]]
        ]


def may_attach(viewer: User) -> bool:
    """Who receives attaches, and who clears: papers of origin often come later."""
    return may(viewer.roles, Verb.RECEIVE) or may(viewer.roles, Verb.CLEAR)


@require_GET
@needs(Verb.READ_BOOK)
def attachment(request: HttpRequest, pk: int) -> HttpResponse:
    """The bytes of an attachment as it came, to be kept and never shown by the browser itself."""
    one = get_object_or_404(scope.attachments(request.user), pk=pk)
    try:
        content = attachments.content_of(one)
    except Refusal as refusal:
        logger.error("Attachment %s (%s): %s", one.pk, one.sha256, refusal.sentence)
        return render(request, "damaged_paper.html", {"sentence": refusal.sentence}, status=500)
    ending = attachments.TYPES[one.content_type][1][0]
    stem = one.title.removesuffix(ending)
    return HttpResponse(
        content,
        content_type=one.content_type,
        headers={
            "Content-Disposition": content_disposition_header(
                True, f"{slugify(stem) or f'attachment-{one.pk}'}{ending}"
            ),
            "X-Content-Type-Options": "nosniff",
            "Cache-Control": "private, no-store",
        },
    )
