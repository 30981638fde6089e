"""The customer's door: its own deliveries and papers, and nothing of anybody else's."""

from custody.models import Document, Lot, Operation, Settlement
from custody.terms import DocumentKind, Kind
from tests.documents import reading
from tests.journeys.person import Person


def own_papers(customer: Person, receipt: str, settlement: str, serials: list[str]) -> None:
    """Receipt, statement and certificates, as the customer finds them."""
    customer.follow(receipt)
    titles = [row["Paper"] for row in customer.table("Papers")]
    assert len(titles) == 2
    text = " ".join(reading.text(customer.download(title)) for title in titles)
    assert receipt in text
    assert settlement in text
    customer.desk("My deliveries")
    bars = customer.table("Bars delivered to you")
    assert sorted(row["Serial"] for row in bars) == serials
    certificates = customer.main.locator("table").filter(has_text="Bars delivered to you").get_by_role("link")
    for number, row in enumerate(bars):
        assert row["Serial"] in reading.text(customer.download(certificates.nth(number)))


def nothing_of_others(customer: Person, party: str) -> None:
    """Every paper and number of the book is asked for: what is not the party's own is not there."""

    def status(address: str) -> int:
        return customer.page.request.get(address).status

    for_customers = (
        DocumentKind.RECEIPT,
        DocumentKind.SETTLEMENT,
        DocumentKind.CERTIFICATE,
        DocumentKind.PURCHASE,
        DocumentKind.COLLECTION,
        DocumentKind.RETURN,
        DocumentKind.BAR_LIST,
        DocumentKind.BOX_LIST,
        DocumentKind.DISPATCH_NOTE,
    )
    own = set(Document.objects.filter(party__code=party, kind__in=for_customers).values_list("pk", flat=True))
    papers = set(Document.objects.values_list("pk", flat=True))
    assert own
    assert papers - own
    assert {pk: status(f"/papers/{pk}/") for pk in papers} == {pk: 200 if pk in own else 404 for pk in papers}
    for receipt in Operation.objects.filter(kind=Kind.RECEIVE).select_related("party"):
        expected = 200 if receipt.party.code == party else 404
        assert status(f"/my/receipt/{receipt.number}/") == expected
    pages = [f"/lot/{number}/" for number in Lot.objects.values_list("number", flat=True)]
    pages += [f"/trace/{lot.number}/back/" for lot in Lot.objects.filter(bar__isnull=False)]
    pages += [f"/{desk}/{one.number}/" for one in Operation.objects.all() for desk in ("operation", "receipt")]
    pages += [f"/settlement/statement/{one.number}/" for one in Settlement.objects.all()]
    assert {status(page) for page in pages} == {403}, (
        "the staff's pages are no customer's, whatever number is asked for"
    )
