"""The page of a receipt: declared beside measured, the stage of each parcel, papers and settlement."""

import json

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.assay import determine
from custody.actions.attach import attach
from custody.actions.receive import Said, receive
from custody.actions.work import Make, Take, record_step, reverse
from custody.models import Document, Operation
from custody.queries import receipt_life
from custody.terms import AttachmentKind, Basis, DocumentKind, Form, IdentityKind, Kind
from tests import builders, files, people

pytestmark = pytest.mark.django_db


def page(receipt, who=people.fiona_frontdesk) -> str:
    return people.signed_in(who()).get(f"/receipt/{receipt.number}/").content.decode()


def issue(receipt, paper, who=people.fiona_frontdesk):
    client = people.signed_in(who())
    return client.post(f"/receipt-paper/{receipt.number}/", {"paper": paper}, follow=True)


def test_declared_and_measured_stand_beside_each_other():
    lot = builders.received(builders.parcel(1_002_000, tare_mg=2_000, declared_gross_mg=1_000_250))[0]
    builders.valued(lot, Au=812_500)
    (line,) = receipt_life.parcel_lines(builders.receipt_of(lot))
    assert (line.received_mg, line.off_mg) == (1_000_000, -250)
    assert (line.parcel.declared_au_ppm, line.found_ppm) == (800_000, 812_500)
    said = page(builders.receipt_of(lot))
    for figure in ("1\u202f000.250", "1\u202f000.000", "−0.250", "800.0", "812.5"):
        assert figure in said


def test_every_weighing_says_scale_person_and_how_it_was_read():
    entry = builders.parcel(
        1_002_000, tare_mg=2_000, declared_words="18 karat", declared_au_ppm=750_000, mine="Upper Claim"
    )
    said = page(builders.receipt_of(builders.received(entry)[0]))
    for words in ("BENCH-2", "1\u202f002.000", "keyed by hand", "Fiona Marl", "18 karat", "mine Upper Claim"):
        assert words in said
    assert "Estimate only, from 18 karat as declared: 743.000 to 750.000 g of fine Au. The assay decides." in said


def test_the_number_of_an_identity_paper_is_whole_only_for_those_who_need_it():
    said = Said("Upper Claim Partners", IdentityKind.PASSPORT, "X1234567")
    builders.refinery()
    builders.scale()
    posted = receive(
        party=people.party(), parcels=[builders.parcel()], basis=Basis.TOLL, delivered_by="Mara Quill",
        at=timezone.now(), place=builders.place(), by=people.fiona_frontdesk(), said=said,
    )  # fmt: skip
    receipt = Operation.objects.get(number=posted.number)
    assert "passport X1234567" in page(receipt)
    assert "Upper Claim Partners" in page(receipt)
    masked = page(receipt, people.sam_sampler)
    assert "passport …67" in masked
    assert "X1234567" not in masked


def test_what_was_amended_stands_beside_what_was_first_written():
    lot = builders.received(builders.parcel(seal="S-7"))[0]
    receipt = builders.receipt_of(lot)
    request = {
        "receipt": receipt.number, "lot": lot.number, "field": "seal", "before": "S-7", "after": "S-8",
        "reason": "Misread at the counter", "at": timezone.now().isoformat(), "by": people.fiona_frontdesk().pk,
    }  # fmt: skip
    with connection.cursor() as cursor:
        cursor.execute("SELECT custody_amend(%s)", [json.dumps(request)])
    said = page(receipt)
    assert all(words in said for words in ("Amended", "S-7", "S-8", "Misread at the counter"))


def test_a_parcel_melted_before_its_assay_still_tells_what_was_found():
    lot = builders.handed_over(builders.received()[0], people.sam_sampler())
    posted = record_step(
        kind=Kind.MELT,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, 1_000_000)],
        at=timezone.now(),
        by=people.sam_sampler(),
    )
    builders.valued(builders.fresh(posted.lots[0]), Au=750_000)
    (line,) = receipt_life.parcel_lines(builders.receipt_of(lot))
    assert (line.found_ppm, line.stage) == (750_000, f"used whole in melt {posted.number}")


def test_the_stage_of_each_parcel_is_said_in_words():
    plain, sampled, asked, valued = builders.received(1_000, 2_000, 3_000, 4_000)
    record_step(
        kind=Kind.SAMPLE,
        inputs=[Take(builders.handed_over(sampled, people.sam_sampler()).number, gross_mg=10)],
        outputs=[Make(Form.SAMPLE, 10)],
        at=timezone.now(),
        by=people.sam_sampler(),
    )
    determine(lot=asked, ppm={"Au": 1}, method="fire assay", at=timezone.now(), by=people.anna_assayer())
    builders.valued(valued)
    lines = receipt_life.parcel_lines(builders.receipt_of(plain))
    assert [line.stage for line in lines] == [
        "not sampled yet", "sampled, awaits its assay", "assay awaits acceptance", "valued",
    ]  # fmt: skip
    said = page(builders.receipt_of(plain))
    assert all(line.stage in said for line in lines)
    assert "3 lots not valued yet" in said


def test_a_reprint_is_a_copy_and_says_so():
    receipt = builders.receipt_of(builders.received()[0])
    assert "Issue the receipt" in page(receipt)
    issue(receipt, DocumentKind.RECEIPT)
    assert "Print the receipt again (copy 2)" in page(receipt)
    answer = issue(receipt, DocumentKind.RECEIPT)
    assert "copy 2 is issued" in answer.content.decode()
    assert list(Document.objects.order_by("id").values_list("kind", "copy_no")) == [("receipt", 1), ("receipt", 2)]


def test_who_may_not_issue_a_paper_is_told_and_nothing_is_issued():
    receipt = builders.receipt_of(builders.received()[0])
    for who in (people.adam_auditor, people.cora_customer, people.stranger):
        assert issue(receipt, DocumentKind.RECEIPT, who).status_code == 403
    assert "Ask a manager" in issue(receipt, DocumentKind.RECEIPT, people.sam_sampler).content.decode()
    assert "two papers" in issue(receipt, "bank note").content.decode()
    assert not Document.objects.exists()
    assert "Issue the receipt" not in page(receipt, people.sam_sampler)


def test_a_reversed_receipt_says_so_and_issues_nothing():
    receipt = builders.receipt_of(builders.received()[0])
    mended = reverse(operation=receipt, reason="Wrong party", at=timezone.now(), by=people.mona_manager())
    said = page(receipt)
    assert f"cancelled by {mended.number}" in said
    assert "nothing to settle" in said
    assert "Issue the receipt" not in said
    assert "was reversed by" in issue(receipt, DocumentKind.RECEIPT).content.decode()


def test_the_page_costs_the_same_for_three_parcels_as_for_one():
    client = people.signed_in(people.fiona_frontdesk())
    counts = []
    for grams in ((1_000,), (1_000, 2_000, 3_000)):
        receipt = builders.receipt_of(builders.received(*grams)[0])
        for number in range(len(grams)):
            attach(
                receipt=receipt, lot=None, kind=AttachmentKind.PHOTOGRAPH, title="", at=timezone.now(),
                content=files.JPEG + bytes([number]), by=people.fiona_frontdesk(),
            )  # fmt: skip
        with CaptureQueriesContext(connection) as queries:
            client.get(f"/receipt/{receipt.number}/")
        counts.append(len(queries))
    assert counts[0] == counts[1]
