"""The strict content policy, kept at the source: no style or script inside a page, from templates or from code."""

import re
from pathlib import Path

import pytest

from tests.architecture.tree import breaches, files, parsed, strings

DJANGO_TAG = re.compile(r"\{%\s*comment.*?endcomment\s*%\}|\{%.*?%\}|\{\{.*?\}\}|\{#.*?#\}", re.DOTALL)
INLINE = {
    "a style attribute": re.compile(r"<[^<>]*\sstyle\s*=", re.IGNORECASE),
    "a style element": re.compile(r"<style\b", re.IGNORECASE),
    "a script without src": re.compile(r"<script\b(?![^>]*\ssrc\s*=)", re.IGNORECASE),
    "an event attribute": re.compile(r"<[^<>]*\son[a-z]+\s*=", re.IGNORECASE),
    "a script address": re.compile(r"(href|src|action|formaction)\s*=\s*[\"']?\s*javascript:", re.IGNORECASE),
}


def inline(path: Path, source: str) -> list[str]:
    """Inline style and script of a template, or of the markup in a module's strings."""
    if path.suffix == ".py":
        pieces = list(strings(parsed(source)))
    else:
        # A `>` inside a template tag would seem to end the element; its lines are kept for the count.
        pieces = [(1, DJANGO_TAG.sub(lambda tag: "\n" * tag[0].count("\n"), source))]
    return [
        f"{line + piece.count(chr(10), 0, hit.start())}: {what}"
        for line, piece in pieces
        for what, pattern in INLINE.items()
        for hit in pattern.finditer(piece)
    ]


def test_pages_hold_no_inline_style_or_script():
    assert not breaches(inline, files(".html", ".svg", under="templates"))
    assert not breaches(inline, files(".py", ".html", ".svg", under="custody"))


@pytest.mark.parametrize(
    "markup",
    [
        '<p style="color: red">',
        "<p\n  class='a'\n  STYLE='color: red'>",
        '<p {% if a > b %}style="color: red"{% endif %}>',
        "<style>p { color: red }</style>",
        "<script>alert(1)</script>",
        '<script type="module">alert(1)</script>',
        '<button onclick="go()">',
        "<body {{ x }} onload = go()>",
        '<a href="javascript:go()">',
    ],
)
def test_inline_style_or_script_is_found(markup):
    assert len(inline(Path("templates/base.html"), markup)) == 1
    assert inline(Path("custody/web/pictures.py"), f"x = {markup!r}") or "{" in markup


@pytest.mark.parametrize(
    "markup",
    [
        '<script src="/static/custody/mass.js" defer></script>',
        '<script defer {% if a > b %}async{% endif %} src="{% static "custody/mass.js" %}"></script>',
        '<link rel="stylesheet" href="/static/custody/base.css">',
        "<p>The style = calm, once = more.</p>",
        '{# <p style="color: red"> #}',
        '<p class="one" data-on="x">',
    ],
)
def test_a_clean_page_is_free(markup):
    assert inline(Path("templates/base.html"), markup) == []


def test_the_line_is_named():
    assert inline(Path("templates/base.html"), "{% comment %}\n\n{% endcomment %}\n<p\nstyle=''>")[0].startswith("4:")
