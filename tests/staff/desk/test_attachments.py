"""Attachments on a receipt's page: who may add, who may see, and how a file leaves the house."""

import pytest
from django.conf import settings
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone

from custody.actions.attach import attach
from custody.models import Attachment
from custody.queries import attachments
from custody.terms import AttachmentKind
from tests import builders, files, people
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db


@pytest.fixture
def lot():
    return builders.received()[0]


def sent(lot, *, who=people.fiona_frontdesk, name="bags.jpg", content=files.JPEG, **fields):
    told = {"kind": "photograph", "parcel": "", "title": "", "files": SimpleUploadedFile(name, content)} | fields
    receipt = builders.receipt_of(lot)
    return people.signed_in(who()).post(f"/receipt-attach/{receipt.number}/", body(**told), follow=True)


def kept(lot, kind=AttachmentKind.PHOTOGRAPH, title="Three bags"):
    return attach(
        receipt=builders.receipt_of(lot), lot=None, kind=kind, title=title, content=files.JPEG, at=timezone.now(),
        by=people.fiona_frontdesk(),
    )  # fmt: skip


def fetched(one, who):
    return people.signed_in(who()).get(f"/attachment/{one.pk}/")


def test_files_are_attached_to_the_delivery_or_to_a_parcel(lot):
    said = sent(lot, files=[SimpleUploadedFile("a.jpg", files.JPEG), SimpleUploadedFile("b.pdf", files.PDF)])
    assert "Attached to" in said.content.decode()
    sent(
        lot,
        who=people.clara_compliance,
        kind="export paper",
        parcel=str(lot.pk),
        title="Permit",
        content=files.PNG,
        name="p.png",
    )
    told = Attachment.objects.order_by("id").values_list("title", "kind", "lot", "by__username")
    assert list(told) == [
        ("a.jpg", "photograph", None, "fiona"),
        ("b.pdf", "photograph", None, "fiona"),
        ("Permit", "export paper", lot.pk, "clara"),
    ]
    page = people.signed_in(people.adam_auditor()).get(f"/receipt/{builders.receipt_of(lot).number}/").content.decode()
    assert all(title in page for title in ("a.jpg", "b.pdf", "Permit"))
    assert "Attach photographs or papers" not in page


def test_the_same_file_sent_twice_is_one(lot):
    sent(lot)
    sent(lot)
    assert Attachment.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "sentence"),
    [
        ({"content": files.HTML}, "is no photograph"),
        ({"name": "permit.pdf"}, "its bytes are JPEG"),
        ({"kind": "selfie"}, "valid choice"),
        ({"files": ""}, "Take a photograph, or choose a file"),
        ({"parcel": "999999"}, "valid choice"),
        ({"title": "x" * 201}, "at most 200 characters"),
    ],
)
def test_what_cannot_be_attached_is_told_at_its_field(lot, fields, sentence):
    answer = sent(lot, **{"title": "Bags at the counter"} | fields)
    assert sentence in faults(answer)
    assert fields.get("title", "Bags at the counter") in answer.content.decode()
    assert not Attachment.objects.exists()


@pytest.mark.parametrize("who", [people.sam_sampler, people.mona_manager, people.adam_auditor, *people.CUSTOMERS])
def test_only_who_receives_or_clears_attaches(lot, who):
    assert sent(lot, who=who).status_code == 403
    assert not Attachment.objects.exists()


@pytest.mark.parametrize("who", people.STAFF)
def test_a_photograph_leaves_as_it_came_to_be_kept_not_shown(lot, who):
    answer = fetched(kept(lot), who)
    assert answer.content == files.JPEG
    assert answer["Content-Type"] == "image/jpeg"
    assert answer["Content-Disposition"] == 'attachment; filename="three-bags.jpg"'
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert "no-store" in answer["Cache-Control"]


@pytest.mark.parametrize("who", people.CUSTOMERS)
def test_a_customer_sees_no_attachment(lot, who):
    assert fetched(kept(lot), who).status_code == 403


def test_identity_papers_are_for_those_who_work_with_them(lot):
    one = kept(lot, AttachmentKind.IDENTITY, "Passport of Mara Quill")
    for who in people.STAFF:
        sees = who in (
            people.fiona_frontdesk, people.vera_vault, people.clara_compliance, people.mona_manager,
            people.adam_auditor,
        )  # fmt: skip
        assert fetched(one, who).status_code == (200 if sees else 404), who
        page = people.signed_in(who()).get(f"/receipt/{builders.receipt_of(lot).number}/").content.decode()
        assert ("Passport of Mara Quill" in page) == sees


def test_a_changed_file_is_not_handed_out(lot):
    one = kept(lot)
    attachments.path_of(one.sha256).write_bytes(b"something else")
    answer = fetched(one, people.fiona_frontdesk)
    assert answer.status_code == 500
    assert "was changed since it was attached" in answer.content.decode()
    attachments.path_of(one.sha256).write_bytes(files.JPEG)


def test_too_much_at_once_says_so(lot, monkeypatch):
    monkeypatch.setattr(settings, "LARGEST_REQUEST", 1024)
    answer = sent(lot, content=files.JPEG + b"\0" * 2000)
    assert answer.status_code == 413
    assert "Too much at once" in answer.content.decode()
    assert not Attachment.objects.exists()
