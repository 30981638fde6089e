"""Issuing lists of bars: of anything that was chosen, and of a box."""

import hashlib
from datetime import datetime

from django.db import transaction

from custody.actions import papers
from custody.actions._allowed import require
from custody.actions._copies import next_copy
from custody.documents.bar_list import BarListPaper, render_bar_list
from custody.documents.fill_bar_list import bar_list_paper, box_list_paper, list_number
from custody.errors import Refusal
from custody.models import Box, Document, Operation, Party, User
from custody.queries import bar_lists
from custody.queries.bar_lists import Chosen
from custody.queries.boxes import receiver_of_box
from custody.roles import Verb
from custody.terms import DocumentKind


def issue_bar_list(*, chosen: Chosen, at: datetime, by: User) -> Document:
    """Issues the list of what was chosen; that of a dispatch is for the party that got it, who may download it.

    Raises ``NotAllowed``, and ``Refusal`` for no bar at all, too many, or a dispatch that was reversed.
    """
    require(by, Verb.DISPATCH)
    lines = bar_lists.lines(chosen, by)
    if not lines:
        raise Refusal(f"There is no bar of {chosen.words}: there is nothing to list.")
    if len(lines) > bar_lists.MOST:
        raise Refusal(f"No more than {bar_lists.MOST} bars stand on one list. Choose fewer days.")
    party = None
    if chosen.dispatch:
        _refuse_reversed(chosen.dispatch)
        party = chosen.dispatch.party
    number = list_number(chosen, at)

    def paper(copy_no: int) -> BarListPaper:
        return bar_list_paper(chosen, lines, number=number, copy_no=copy_no, at=at, by=by)

    operation = chosen.dispatch or chosen.cast
    return _issue(DocumentKind.BAR_LIST, f"Bar list {number}", paper, at, by, party, operation)


def issue_box_list(*, box: Box, at: datetime, by: User) -> Document:
    """Issues the list of a box with its seal; for the party that the box left to, once it has left.

    Raises ``NotAllowed``.
    """
    require(by, Verb.DISPATCH)
    lines = bar_lists.lines(Chosen(f"box {box}", box.number, box=box), by)

    def paper(copy_no: int) -> BarListPaper:
        return box_list_paper(box, lines, copy_no=copy_no, at=at, by=by)

    return _issue(DocumentKind.BOX_LIST, f"Box list {box}", paper, at, by, receiver_of_box(box))


def _refuse_reversed(dispatch: Operation) -> None:
    undone = Operation.objects.filter(reverses=dispatch).first()
    if undone:
        raise Refusal(f"{dispatch.number} was reversed by {undone.number}: no paper is issued for it.")


def _issue(
    kind: DocumentKind,
    title: str,
    paper,
    at: datetime,
    by: User,
    party: Party | None,
    operation: Operation | None = None,
) -> Document:
    with transaction.atomic(durable=True):
        copy_no = next_copy(kind, title=title)
        seed = hashlib.sha256(f"{title} {copy_no} {at.isoformat()}".encode()).digest()[:16]
        return papers.store(
            kind=kind,
            title=title,
            content=render_bar_list(paper(copy_no), identifier=seed, created=at),
            at=at,
            by=by,
            party=party,
            operation=operation,
            copy_no=copy_no,
        )
