"""The eye that looks at every page of a journey: once a page and state, as everybody must be able to read it.

With JOURNEY_PICTURES=folder it keeps a picture of each, and every paper, to be looked at.
"""

import os
from pathlib import Path
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from django.urls import resolve
from playwright.sync_api import Page

from custody.staff import bars_urls, plant_urls, vault_urls

KEPT = os.environ.get("JOURNEY_PICTURES")
WIDE, NARROW = {"width": 1280, "height": 900}, {"width": 390, "height": 844}
#: Pages that another test examines on a tablet and on a phone (every page of the plant and the vault).
ON_A_PHONE = {each.name for urls in (plant_urls, bars_urls, vault_urls) for each in urls.urlpatterns}
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
#: Asks for what is wrong alone: the long list of what is right takes a second to hand over.
FAULTS = """rules => axe.run({ runOnly: rules, resultTypes: ["violations"] }).then(found => found.violations.flatMap(
    each => each.nodes.map(node => `${each.id}: ${node.html.slice(0, 160)}`)))"""
#: Parts of a page that come and go; a page with other parts is another page to look at.
PARTS = ".errors, #countersign-title, #approval-title, .flow"


class Eye:
    """Remembers what it has seen, by the page's name and its parts."""

    def __init__(self) -> None:
        self.seen: dict[str, set[tuple]] = {}

    def look(self, page: Page) -> None:
        """Examines a page that was not seen in this state: wide, and the first time on a phone too."""
        name = resolve(urlsplit(page.url).path).view_name
        parts = tuple(
            page.locator(PARTS).evaluate_all("parts => parts.map(part => part.id || part.getAttribute('class'))")
        )
        states = self.seen.setdefault(name, set())
        if parts in states:
            return
        states.add(parts)
        page.evaluate(Axe().axe_script)
        for size in (NARROW, WIDE):
            page.set_viewport_size(size)
            assert page.evaluate("document.documentElement.scrollWidth") <= size["width"], (page.url, size)
            if size is WIDE or (len(states) == 1 and name not in ON_A_PHONE):
                faults = page.evaluate(FAULTS, RULES)
                assert not faults, (page.url, size, faults)
            if KEPT:
                self.keep(f"{name}-{len(states)}-{size['width']}.png", page.screenshot(full_page=True))

    def keep(self, name: str, content: bytes) -> None:
        """Keeps a picture or a paper, where that is asked for."""
        if KEPT:
            (Path(KEPT) / name).write_bytes(content)
