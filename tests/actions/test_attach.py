"""What may be attached to a receipt, told by its bytes alone; kept once, and handed out only unchanged."""

import hashlib

import pytest
from django.utils import timezone

from custody.actions.attach import attach
from custody.errors import AttachmentRule, NotAllowed, Refusal
from custody.models import Attachment
from custody.queries import attachments
from custody.terms import AttachmentKind
from tests import builders, files, people

pytestmark = pytest.mark.django_db


@pytest.fixture
def receipt():
    return builders.receipt_of(builders.received()[0])


def attached(receipt, content=files.JPEG, *, who=people.fiona_frontdesk, **changes):
    told = {"lot": None, "kind": AttachmentKind.PHOTOGRAPH, "title": "Three bags", "at": timezone.now(), "by": who()}
    return attach(receipt=receipt, content=content, **told | changes)


@pytest.mark.parametrize(
    ("content", "name", "content_type"),
    [
        (files.JPEG, "IMG_0001.JPG", "image/jpeg"),
        (files.PNG, "bags.png", "image/png"),
        (files.WEBP, "bags.webp", "image/webp"),
        (files.HEIC, "bags.heic", "image/heic"),
        (files.PDF, "permit 2026.07", "application/pdf"),
    ],
)
def test_photographs_and_papers_are_kept_by_their_bytes(receipt, content, name, content_type):
    one = attached(receipt, content, name=name)
    digest = hashlib.sha256(content).hexdigest()
    assert (one.content_type, one.sha256, one.size, one.title) == (content_type, digest, len(content), "Three bags")
    assert attachments.content_of(one) == content
    assert attachments.path_of(digest).name == digest


@pytest.mark.parametrize(
    ("content", "name", "sentence"),
    [
        (b"", "empty.jpg", "“empty.jpg” is empty"),
        (files.HTML, "page.pdf", "is no photograph"),
        (files.PROGRAM, "bags.jpg", "is no photograph"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "drawing.svg", "is no photograph"),
        (b"PK\x03\x04", "papers.zip", "is no photograph"),
        (files.JPEG, "permit.pdf", "ends in .pdf, but its bytes are JPEG"),
        (files.PDF, "setup.exe", "ends in .exe, but its bytes are PDF"),
        (files.JPEG + b"\0" * attachments.LARGEST, "bags.jpg", "is larger than 10 MB"),
    ],
)
def test_what_lies_or_may_not_be_kept_is_refused(receipt, content, name, sentence):
    with pytest.raises(AttachmentRule, match=sentence) as refused:
        attached(receipt, content, name=name)
    assert refused.value.field == "files"
    assert not Attachment.objects.exists()


def test_the_same_bytes_twice_on_one_receipt_are_one(receipt):
    assert attached(receipt) == attached(receipt, title="Again")
    other = builders.receipt_of(builders.received()[0])
    assert attached(other).sha256 == attached(receipt).sha256
    assert Attachment.objects.count() == 2


def test_a_receipt_takes_thirty_and_no_more(receipt):
    for number in range(attachments.MOST):
        attached(receipt, files.JPEG + bytes([number]))
    with pytest.raises(AttachmentRule, match="takes no more"):
        attached(receipt, files.PDF)
    attached(receipt, files.JPEG + b"\0")  # known already
    assert Attachment.objects.count() == attachments.MOST


def test_a_parcel_of_another_receipt_or_no_receipt_takes_nothing(receipt):
    (other,) = builders.received()
    with pytest.raises(AttachmentRule, match="one parcel of it"):
        attached(receipt, lot=other)
    assert attached(receipt, lot=receipt.created_lots.get()).lot.number


@pytest.mark.parametrize("who", [people.sam_sampler, people.mona_manager, people.adam_auditor, people.cora_customer])
def test_only_who_receives_or_clears_attaches(receipt, who):
    with pytest.raises(NotAllowed):
        attached(receipt, who=who)
    assert attached(receipt, who=people.clara_compliance)


def test_a_changed_file_is_not_handed_out(receipt):
    one = attached(receipt)
    path = attachments.path_of(one.sha256)
    path.write_bytes(files.JPEG + b"!")
    with pytest.raises(Refusal, match="was changed since it was attached"):
        attachments.content_of(one)
    path.unlink()
    with pytest.raises(Refusal, match="is missing"):
        attachments.content_of(one)
