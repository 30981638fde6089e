"""At the counter: a delivery is entered, weighed and receipted."""

from tests.documents import reading
from tests.journeys.person import Person


def receive(desk: Person, party: dict[str, str], *parcels: dict[str, str], delivered_by: str) -> tuple[str, list[str]]:
    """Types a receipt: the party by its code, or code, name and country of a new one. Gives receipt and lots."""
    desk.desk("Counter")
    if len(party) > 1:
        desk.page.get_by_text("The party is not known yet").click()
    desk.fill_in(party | {"Delivered by": delivered_by})
    desk.one_more("Add a parcel", len(parcels) - 1)
    for number, parcel in enumerate(parcels, start=1):
        desk.fill_in(parcel, f"Parcel {number}")
    desk.press("Record the receipt and print it")
    return desk.title, [row["Lot"] for row in desk.table("Parcels")]


def check_papers(desk: Person, receipt: str, lots: list[str]) -> None:
    """Downloads receipt and labels from the receipt's page and reads them as the customer and a scanner do."""
    papers = {row["Paper"]: row for row in desk.table("Papers")}
    assert len(papers) == 2
    of_receipt, of_labels = (
        desk.download(next(paper for paper in papers if word in paper.lower())) for word in ("receipt", "label")
    )
    assert reading.codes(of_receipt) == [receipt]
    assert receipt in reading.text(of_receipt)
    assert all(lot in reading.text(of_receipt) for lot in lots)
    assert sorted(
        code for page in range(reading.page_count(of_labels)) for code in reading.codes(of_labels, page=page + 1)
    ) == sorted(lots)
