"""One person at one screen: reads labels, types, presses buttons, scans. Every page reached is looked at by the eye.

Fields are found by the words that stand beside them, buttons and links by what is written on them. A hand scanner
types and presses Enter, wherever the cursor is.
"""

import re
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import Locator, Page

from custody.models import User
from tests.journeys.eye import Eye
from tests.people import PASSWORD

#: What kind of field it is, or that it stands in a part of the page that is folded away.
KIND = 'field => field.closest("details:not([open])") ? "folded" : field.type'
FOLD = "xpath=ancestor::details[not(@open)]/summary"


class Person:
    """A person with a login, at a browser of their own."""

    def __init__(self, page: Page, eye: Eye, login: User | str, password: str = PASSWORD) -> None:
        self.page, self.eye = page, eye
        self.username = str(getattr(login, "username", login))
        self.name = str(login)
        self.password = password

    # Going about

    def sign_in(self) -> "Person":
        """Types name and password at the door; gives this person back."""
        self.page.goto("/")
        self.eye.look(self.page)
        self.type("Login", self.username)
        self.type("Password", self.password)
        self.leads(lambda: self.page.keyboard.press("Enter"))
        return self

    def desk(self, name: str) -> None:
        """To a desk, by its name at the head of every page."""
        places = self.page.get_by_role("navigation", name="Places").filter(visible=True)
        self.leads(places.get_by_role("link", name=name, exact=True).click)

    def follow(self, words: str, within: Locator | None = None) -> None:
        """A link, by its words."""
        self.leads((within or self.main).get_by_role("link", name=words, exact=True).first.click)

    def press(self, words: str) -> None:
        """A button that sends a form, by its words."""
        self.leads(self.main.get_by_role("button", name=words, exact=True).click)

    def scan(self, code: str) -> None:
        """The scanner, with the cursor in no field: leads to what carries the number."""
        self.page.evaluate("document.activeElement?.blur()")

        def shoot():
            self.page.keyboard.type(code)
            self.page.keyboard.press("Enter")

        self.leads(shoot)

    def leads(self, act: Callable[[], None]) -> None:
        """Does what opens another page, waits for it, and looks at it."""
        with self.page.expect_navigation():
            act()
        self.eye.look(self.page)

    # Typing

    def type(self, label: str, text: str, row: str = "") -> None:
        """A field by its label, of the whole form or of a row by its heading ("Parcel 2"); a list is chosen from."""
        field = self.field(label, row)
        kind = field.evaluate(KIND)
        if kind == "folded":
            field.locator(FOLD).click()
            kind = field.evaluate(KIND)
        if kind == "select-one":
            field.select_option(label=text)
        else:
            field.fill(text[:-1])
            field.press_sequentially(text[-1:])  # by key, as what listens to keys hears it

    def fill_in(self, said: dict[str, str], row: str = "") -> None:
        """Several fields, each by its label."""
        for label, text in said.items():
            self.type(label, text, row)

    def shoot(self, label: str, code: str, row: str = "") -> None:
        """The scanner, with the cursor in a field: Enter moves on to the next one."""
        field = self.field(label, row)
        field.focus()
        self.page.keyboard.type(code)
        self.page.keyboard.press("Enter")
        assert not field.evaluate("field => field === document.activeElement"), "Enter of the scanner moves on"

    def scan_into(self, label: str, code: str) -> None:
        """The scanner, into a list of lots: each on a line of its own."""
        self.field(label).focus()
        self.page.keyboard.type(code)
        self.page.keyboard.press("Enter")

    def choose(self, label: str) -> None:
        """A radio button or a box to tick, by its words."""
        field = self.main.get_by_label(label, exact=True)
        if field.evaluate(KIND) == "folded":
            field.locator(FOLD).click()
        field.check()

    def one_more(self, words: str, times: int = 1) -> None:
        """More rows of an entry, by the button that adds one."""
        for _ in range(times):
            self.main.get_by_role("button", name=words, exact=True).click()

    def field(self, label: str, row: str = "") -> Locator:
        """The field that a label names, without its unit."""
        named = re.compile(rf"^\s*{re.escape(label)}(, (g|‰|%))?\s*(optional)?\s*$")
        return (self.row(row) if row else self.main).get_by_label(named).first

    def row(self, heading: str) -> Locator:
        """A row of an entry, by its heading."""
        return self.main.get_by_role("group", name=heading, exact=True)

    # Reading

    @property
    def main(self) -> Locator:
        """The page without its head and foot."""
        return self.page.locator("main")

    @property
    def title(self) -> str:
        """The heading of the page, without the word of standing beside it."""
        return self.page.locator("h1").evaluate("heading => heading.firstChild.textContent.trim()")

    @property
    def text(self) -> str:
        """What the page says."""
        return self.main.inner_text()

    @property
    def told(self) -> str:
        """What the page tells of what was done."""
        return self.page.locator(".told").inner_text()

    @property
    def faults(self) -> str:
        """What the page says is to be mended."""
        return self.page.locator(".errors").inner_text()

    def fact(self, label: str) -> str:
        """The value that stands beside a word in a panel; the beginning of the word will do."""
        word = re.compile(rf"^\s*{re.escape(label)}")
        said = self.main.locator(".facts > div").filter(has=self.page.locator("dt").filter(has_text=word))
        return said.first.locator("dd").inner_text()

    def table(self, caption: str) -> list[dict[str, str]]:
        """The rows of a list by its caption, each by the heads of its columns."""
        found = self.main.locator("table").filter(has=self.page.locator("caption", has_text=caption)).first
        return found.evaluate(
            """table => [...table.tBodies[0].rows].map(row => Object.fromEntries(
                [...row.cells].map(cell => [cell.dataset.label, cell.innerText.trim()])))"""
        )

    def still_to_explain(self) -> str:
        """What the running balance says in words, thousands set off by a space."""
        return self.page.inner_text("[data-balance-word]").replace("\u202f", " ")

    # Papers

    def download(self, link: str | Locator) -> bytes:
        """A paper, by the words of its link or button."""
        part = self.main.get_by_role("link", name=link, exact=True).first if isinstance(link, str) else link
        with self.page.expect_download() as coming:
            part.click()
        paper = Path(coming.value.path()).read_bytes()
        self.eye.keep(coming.value.suggested_filename, paper)
        return paper
