"""Issuing the note that travels with the goods."""

from datetime import datetime

from custody.actions._allowed import require
from custody.actions._copies import issue_copy
from custody.documents.dispatch_note import render_dispatch_note
from custody.documents.fill_dispatch_note import dispatch_note
from custody.errors import Refusal
from custody.models import Collection, Document, Operation, User
from custody.roles import Verb
from custody.terms import Against, DocumentKind


def issue_dispatch_note(*, dispatch: Operation, at: datetime, by: User) -> Document:
    """Issues the dispatch note, for the party; a reprint says which copy it is.

    Raises ``NotAllowed``, and ``Refusal`` for what says nothing of who fetched it, was reversed, or went back unmelted:
    with that goes its return note.
    """
    require(by, Verb.DISPATCH)
    collection = Collection.objects.filter(operation=dispatch).first()
    if collection is None:
        raise Refusal(f"{dispatch.number} does not say who fetched metal: there is no note of it.")
    if collection.against == Against.RETURNED:
        raise Refusal(f"{dispatch.number} sent parcels back: their return note goes with them.")
    undone = Operation.objects.filter(reverses=dispatch).first()
    if undone:
        raise Refusal(f"{dispatch.number} was reversed by {undone.number}: no paper is issued for it.")

    def content(copy_no: int, identifier: bytes) -> bytes:
        return render_dispatch_note(dispatch_note(dispatch, copy_no=copy_no), identifier=identifier, created=at)

    title = f"Dispatch note {dispatch.number}"
    return issue_copy(DocumentKind.DISPATCH_NOTE, title, dispatch, content, at=at, by=by)
