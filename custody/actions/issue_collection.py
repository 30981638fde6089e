"""Issuing the paper that metal leaves with: a collection note, or a return note for parcels unmelted."""

from datetime import datetime

from custody.actions._allowed import require
from custody.actions._copies import issue_copy
from custody.documents.collection import render_collection, render_return
from custody.documents.fill_collection import collection_paper, return_paper
from custody.errors import Refusal
from custody.models import Collection, Document, Operation, User
from custody.roles import Verb
from custody.terms import Against, DocumentKind


def issue_collection(*, dispatch: Operation, at: datetime, by: User) -> Document:
    """Issues the note of what left and who fetched it, for the party; a reprint says which copy it is.

    Raises ``NotAllowed``, and ``Refusal`` for what is no dispatch, was reversed, or says nothing of who fetched it.
    """
    collection = Collection.objects.filter(operation=dispatch).first()
    if collection is None:
        raise Refusal(f"{dispatch.number} does not say who fetched metal: there is no note of it.")
    back = collection.against == Against.RETURNED
    require(by, Verb.RECEIVE if back else Verb.DISPATCH)
    undone = Operation.objects.filter(reverses=dispatch).first()
    if undone:
        raise Refusal(f"{dispatch.number} was reversed by {undone.number}: no paper is issued for it.")
    kind, title = (DocumentKind.RETURN, "Return note") if back else (DocumentKind.COLLECTION, "Collection note")
    fill, render = (return_paper, render_return) if back else (collection_paper, render_collection)

    def content(copy_no: int, identifier: bytes) -> bytes:
        return render(fill(dispatch, copy_no=copy_no), identifier=identifier, created=at)

    return issue_copy(kind, f"{title} {dispatch.number}", dispatch, content, at=at, by=by)
