"""At the counter: a delivery is entered, weighed and receipted."""

from tests.documents import reading
from tests.journeys.person import Person


def receive(desk: Person, party: dict[str, str], *parcels: dict[str, str], delivered_by: str) -> tuple[str, list[str]]:
    """Types a receipt and records it: the party by its code, or a new one by code, name and country."""
    fill_in(desk, party, *parcels, delivered_by=delivered_by)
    return record(desk)


def fill_in(desk: Person, party: dict[str, str], *parcels: dict[str, str], delivered_by: str) -> None:
    """Types a receipt, parcel by parcel."""
    desk.desk("Counter")
    if "Code" in party:
        desk.page.get_by_text("The party is not known yet").click()
    desk.fill_in(party | {"Delivered by": delivered_by})
    desk.one_more("Add a parcel", len(parcels) - 1)
    for number, parcel in enumerate(parcels, start=1):
        desk.fill_in(parcel, f"Parcel {number}")


def record(desk: Person) -> tuple[str, list[str]]:
    """Records what was typed; gives the receipt's number and its lots'."""
    desk.press("Record the receipt and print it")
    return desk.title, [row["Lot"] for row in desk.table("Parcels")]


def comma_is_refused(desk: Person, parcel: str) -> None:
    """A weight with a comma is never guessed; everything typed stays."""
    desk.press("Record the receipt and print it")
    assert "the decimal sign is a point" in desk.faults
    assert "," in desk.field("Gross", parcel).input_value()


def check_papers(desk: Person, receipt: str, lots: list[str], *said: str) -> None:
    """Downloads receipt and labels from the receipt's page and reads them as the customer and a scanner do."""
    titles = [row["Paper"] for row in desk.table("Papers")]
    assert len(titles) == 2
    of_receipt, of_labels = (
        desk.download(next(title for title in titles if word in title.lower())) for word in ("receipt", "label")
    )
    assert reading.codes(of_receipt) == [receipt]
    text = reading.text(of_receipt).replace("\u202f", " ")
    for words in (receipt, *lots, *said):
        assert words in text, words
    pages = range(1, reading.page_count(of_labels) + 1)
    assert sorted(code for page in pages for code in reading.codes(of_labels, page=page)) == sorted(lots)


class Keyboard:
    """The keyboard and the hand scanner, counted: every key that is no data, and every scan."""

    def __init__(self, desk: Person) -> None:
        self.desk, self.page, self.count = desk, desk.page, 0

    def data(self, text: str) -> "Keyboard":
        """What has to be typed whatever the form is like: not counted."""
        self.page.keyboard.type(text)
        return self

    def press(self, *keys: str) -> "Keyboard":
        """Keys that only move about, each counted."""
        for key in keys:
            self.page.keyboard.press(key)
            self.count += 1
        return self

    def scan(self, code: str) -> "Keyboard":
        """The scanner: types a code and presses Enter, one movement of the hand."""
        self.page.keyboard.type(code)
        self.page.keyboard.press("Enter")
        self.count += 1
        return self

    def choose(self, words: str) -> "Keyboard":
        """An entry of the list that has the focus, by arrow keys, each counted; none where it is chosen already."""
        steps = self.page.evaluate(
            """words => { const list = document.activeElement;
                const wanted = [...list.options].findIndex(option => option.text === words);
                if (wanted < 0) throw new Error(`${words} is not in the list`);
                return wanted - list.selectedIndex; }""",
            words,
        )
        return self.press(*["ArrowDown" if steps > 0 else "ArrowUp"] * abs(steps))

    def at(self, name: str) -> bool:
        """Whether the cursor is in the field of this name."""
        return self.page.evaluate("document.activeElement.name") == name

    @property
    def where(self) -> str:
        """Where the cursor is, for the message of a failure."""
        return self.page.evaluate("(document.activeElement.name || document.activeElement.innerText).trim()")
