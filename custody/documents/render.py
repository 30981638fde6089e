"""From figures to paper: every document of the house is rendered here, and only here.

The same figures give the same bytes on every run: identifier and dates come from the caller, never from a clock
or a random source, so that a stored paper can be told from a forged one by its SHA-256 (I10). The files are
produced as PDF/A-3a: tagged, with output intent, and with the figures attached as JSON (relationship Source).
"""

import json
from collections.abc import Mapping
from dataclasses import asdict
from datetime import UTC, date, datetime
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pydyf
from django.template.loader import render_to_string
from weasyprint import CSS, HTML, Attachment, Document
from weasyprint.urls import URLFetcher

#: Print stylesheets stand beside the templates: ``paper.css`` for all, and one of a template's own name.
SHEETS = Path(__file__).resolve().parents[2] / "templates" / "documents"

ATTACHMENT_NAME = "figures.json"


def render(
    template: str,
    *parts: Mapping[str, Any],
    identifier: bytes,
    created: datetime,
    title: str,
    attachment_json: bytes | None = None,
) -> bytes:
    """The PDF of ``template``, once for each context in ``parts``, one after the other.

    Each part counts its own pages, so that two copies of a receipt are each "page 1 of 2". ``identifier`` is 16
    bytes, ``created`` an aware time; both end up in the file. Raises ``ValueError`` for anything else.
    """
    if len(identifier) != 16:
        raise ValueError(f"A PDF identifier has 16 bytes, not {len(identifier)}.")
    if created.tzinfo is None:
        raise ValueError("The time of issue needs a time zone.")
    documents = [_layout(template, {**part, "title": title}) for part in parts]
    whole = documents[0].copy([page for document in documents for page in document.pages])
    stamp = created.astimezone(UTC)
    whole.metadata.title = title
    whole.metadata.created = whole.metadata.modified = stamp.strftime("%Y-%m-%dT%H:%M:%SZ")
    if attachment_json is not None:
        whole.metadata.attachments = [_figures(attachment_json, stamp)]
    return whole.write_pdf(
        pdf_variant="pdf/a-3a",
        pdf_identifier=identifier.hex().encode(),  # in hex: a raw carriage return would be read back as a line feed
        custom_metadata=True,
        finisher=_list_attachment_once,
    )


def render_copies(
    template: str, name: str, paper: Any, copies: tuple[str, ...], *, identifier: bytes, created: datetime
) -> bytes:
    """The PDF of one paper (a dataclass with a number), once for everybody who keeps a copy, with its figures."""
    return render(
        template,
        *({"paper": paper, "copy": copy} for copy in copies),
        identifier=identifier,
        created=created,
        title=f"{name} {paper.number}",
        attachment_json=figures_json(paper),
    )


def figures_json(paper: Any) -> bytes:
    """The plain values of a paper (a dataclass) as JSON: masses in integer mg, money as strings, times in UTC."""
    return json.dumps(asdict(paper), default=_plain, ensure_ascii=False, indent=1).encode()


def _layout(template: str, context: Mapping[str, Any]) -> Document:
    # A paper draws on nothing but its own figures: a name that smuggles in an address fetches nothing.
    fetcher = URLFetcher(allowed_protocols=("data",))
    html = HTML(string=render_to_string(template, dict(context)), url_fetcher=fetcher)
    return html.render(stylesheets=[_sheet("paper.css"), _sheet(Path(template).stem + ".css")])


@cache
def _sheet(name: str) -> CSS:
    return CSS(filename=SHEETS / name)


def _figures(content: bytes, stamp: datetime) -> Attachment:
    return Attachment(
        string=content,
        name=ATTACHMENT_NAME,
        description="The figures of this paper",
        created=stamp,
        modified=stamp,
        relationship="Source",
    )


def _list_attachment_once(document: Document, pdf: pydyf.PDF) -> None:
    # WeasyPrint 70 names an attachment twice in the list of associated files; some viewers then show two.
    if "AF" in pdf.catalog:
        pdf.catalog["AF"] = pydyf.Array(dict.fromkeys(pdf.catalog["AF"]))


def _plain(value: object) -> str:
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, Decimal):
        return str(value)
    raise TypeError(f"{value!r} is no plain value of a paper.")
