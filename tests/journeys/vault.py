"""Settlement and gate."""

from decimal import ROUND_HALF_EVEN, Decimal

from tests.documents import reading
from tests.journeys.person import Person

TERMS = {
    "Au payable": "99",
    "Ag payable": "95",
    "Refining charge, per g of Au": "0.09",
    "Treatment charge, per receipt": "75",
}


def agree_terms(accountant: Person, party: str) -> None:
    """Terms with a party, found by scanning its code."""
    accountant.scan(party)
    accountant.follow("Agree terms")
    accountant.fill_in(TERMS | {"Currency": "EUR"})
    accountant.press("Record the terms")
    assert accountant.table("Terms agreed")[0]["Au payable, %"] == "99.00"


def reckon(accountant: Person, receipt: str, outturn: str, prices: dict[str, tuple[str, str]]) -> None:
    """The settlement of a receipt as it would be issued; a price is per troy ounce, with its source."""
    accountant.desk("Settlement")
    accountant.follow(receipt)
    accountant.choose(outturn)
    for metal, (price, source) in prices.items():
        accountant.fill_in({"Price, EUR": price, "Source": source}, metal)
    accountant.press("Reckon")


def approve_and_issue(accountant: Person, manager: Person) -> str:
    """Who prepared it cannot approve it; the manager signs. Gives the settlement's number."""
    meaning = {"What the approval means": "Checked against assays and terms"}
    sign(accountant, accountant, meaning)
    assert "may not approve a settlement" in accountant.faults
    sign(accountant, manager, meaning)
    assert accountant.fact("Prepared by") == accountant.name
    assert accountant.fact("Approved by") == manager.name
    return accountant.title


def sign(accountant: Person, second: Person, meaning: dict[str, str]) -> None:
    """A person's own login under what was reckoned."""
    accountant.fill_in({"Approver's login": second.username, "Approver's password": second.password} | meaning)
    accountant.press("Issue the settlement")


def check_statement(accountant: Person, settlement: str, *said: str) -> None:
    """The statement's PDF says what was settled."""
    paper = accountant.download(accountant.table("Papers")[0]["Paper"])
    text = reading.text(paper).replace("\u202f", " ")
    for words in (settlement, *said):
        assert words in text, words


def worth(content: str, payable: str, price: str) -> str:
    """The payable share, per cent, of a content in grams at a price per troy ounce, as a statement prints it."""
    grams = (Decimal(content) * Decimal(payable) / 100).quantize(Decimal("0.001"))
    money = (grams / Decimal("31.1034768") * Decimal(price)).quantize(Decimal("0.01"), ROUND_HALF_EVEN)
    return f"{money:,}".replace(",", " ")


def send_out(keeper: Person, party: str, serials: list[str], assay: str) -> None:
    """Bars leave against the party's claim, after a look at what that comes to, each with its certificate."""
    keeper.desk("Vault")
    keeper.follow("Send out of the gate")
    keeper.type("To", party)
    keeper.choose("house metal against its claim")
    keeper.fill_in({"By the order": "Letter of the owner, no. 12", "Fetched by": "Edda Rook", "Number": "N 4410972"})
    keeper.type("Known by", "passport")
    for serial in serials:
        keeper.scan_into("Lots, bars, boxes", serial)
    keeper.press("Show what it comes to")
    assert "may leave" in keeper.text
    keeper.press("Send out of the gate")
    left = keeper.table("What left")
    assert len(left) == len(serials)
    for row, serial in zip(left, serials, strict=True):
        paper = keeper.download(row["Certificate"])
        text = reading.text(paper)
        assert all(words in text for words in (serial, assay, "998.3 ‰ Au", "weighed and assayed as above")), text
        assert [serial in code for code in reading.codes(paper)] == [True]
