"""The eye that looks at every page of a journey: once a page and state, wide and narrow, as everybody must read it.

With JOURNEY_PICTURES=folder it keeps a picture of each, to be looked at.
"""

import os
from pathlib import Path
from urllib.parse import urlsplit

from axe_playwright_python.sync_playwright import Axe
from django.urls import resolve
from playwright.sync_api import Page

WIDE, NARROW = (1280, 900), (390, 844)
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
#: Asks for what is wrong alone: the long list of what is right takes a second to hand over.
FAULTS = """rules => axe.run({ runOnly: rules, resultTypes: ["violations"] }).then(found => found.violations.flatMap(
    each => each.nodes.map(node => `${each.id}: ${node.html.slice(0, 160)}`)))"""
#: Parts of a page that come and go; a page with other parts is another page to look at.
PARTS = (".errors", "[data-lot-book]:not([hidden])", "#countersign-title", "#approval-title", ".flow", ".messages")


class Eye:
    """Remembers what it has seen."""

    def __init__(self) -> None:
        self.seen: set[tuple] = set()

    def look(self, page: Page) -> None:
        """Examines a page unless this page was seen in this state."""
        parts = tuple(page.locator(part).count() > 0 for part in PARTS)
        what = (resolve(urlsplit(page.url).path).view_name, parts)
        if what in self.seen:
            return
        import time

        t0 = time.time()  # ZZ
        self.seen.add(what)
        page.evaluate(Axe().axe_script)
        for width, height in (NARROW, WIDE):
            page.set_viewport_size({"width": width, "height": height})
            assert page.evaluate(FAULTS, RULES) == [], (page.url, width)
            assert page.evaluate("document.documentElement.scrollWidth") <= width, (page.url, width)
            self._keep(page, f"{len(self.seen):03d}-{what[0]}-{width}")
        self.spent = getattr(self, "spent", 0) + time.time() - t0
        print("## eye", what[0], round(self.spent, 1), flush=True)  # ZZ

    def _keep(self, page: Page, name: str) -> None:
        folder = os.environ.get("JOURNEY_PICTURES")
        if folder:
            page.screenshot(path=Path(folder) / f"{name}.png", full_page=True)
