"""The only inserter of operations and movements: one call of custody_post(), one durable transaction.

Also the only place where PostgreSQL's refusals become the house's own (errors/).
"""

import hashlib
import json
import re
from collections.abc import Iterable
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import Error, connection, transaction
from django.db.models import Model
from psycopg.types.json import Jsonb

from custody.errors import Busy, Refusal, refusal_named
from custody.models import Lot

#: A lot that somebody else works on is waited for this long, then refused as busy.
LOCK_TIMEOUT = "10s"
_PATIENTLY = "FROM set_config('lock_timeout', %s, true)"


@dataclass(frozen=True, slots=True)
class Posted:
    """What was recorded: the operation's id and number, and its outputs' lot numbers in their order."""

    id: int
    number: str
    lots: tuple[str, ...]
    replayed: bool


@contextmanager
def refusals():
    """Turns a refusal of PostgreSQL into the named one; anything else passes as it is."""
    try:
        yield
    except Error as error:
        raise _translate(error) from error


def _translate(error: Error) -> Exception:
    cause = error.__cause__
    diag = getattr(cause, "diag", None)
    if diag is None:
        return error
    if diag.sqlstate in ("55P03", "40P01"):
        return Busy()
    if diag.sqlstate == "CB001":
        return refusal_named(diag.constraint_name, diag.message_primary, json.loads(diag.message_detail))
    if diag.sqlstate.startswith("22"):
        return Refusal(f"A value is not one that the book can hold: {diag.message_primary}.")
    if diag.constraint_name:
        refusal = refusal_named(diag.constraint_name, diag.message_primary, _key_of(diag.message_detail))
        return refusal if type(refusal) is not Refusal else error
    return error


def _key_of(told: str | None) -> dict[str, str]:
    """The columns and values of the key that a unique index found twice, so that a sentence can name them."""
    found = re.search(r"\(([^()]*)\)=\(([^()]*)\)", told or "")
    names, values = (part.split(", ") for part in found.groups()) if found else ((), ())
    return dict(zip(names, values, strict=True)) if len(names) == len(values) else {}


def post(request: dict[str, Any]) -> Posted:
    """Records one operation, whole or not at all, and gives what was recorded.

    ``request`` is the operation record with masses in milligrams (sql/post_lines.sql); ``at`` an aware datetime, ``by``
    a user's id. Raises a ``Refusal``.
    """
    with refusals(), transaction.atomic(durable=True):
        return post_in_transaction(request)


def post_in_transaction(request: dict[str, Any]) -> Posted:
    """As ``post``, inside a transaction that the caller's action has open."""
    body = {key: value for key, value in request.items() if value is not None}
    if isinstance(body.get("at"), datetime):
        body["at"] = body["at"].isoformat()
    if "request_key" in body:
        body["request_key"] = str(body["request_key"])
        body.setdefault("request_sha256", fingerprint(body))
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT custody_post(%s) {_PATIENTLY}", [Jsonb(body), LOCK_TIMEOUT])
        answer = cursor.fetchone()[0]
        answer = json.loads(answer) if isinstance(answer, str) else answer
    return Posted(answer["id"], answer["number"], tuple(answer["lots"]), answer["replayed"])


def call(function: str, *arguments: Any) -> Any:
    """Calls another of the ledger's functions inside the caller's transaction and gives its answer."""
    marks = ", ".join(["%s"] * len(arguments))
    with refusals(), connection.cursor() as cursor:
        cursor.execute(f"SELECT {function}({marks}) {_PATIENTLY}", [*arguments, LOCK_TIMEOUT])
        return cursor.fetchone()[0]


def alone(what: str) -> None:
    """Until the transaction ends nobody else does this: two of the same would both find nothing recorded yet."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", [what])


def sent_before(model: type[Model], request_key: UUID | None) -> Model | None:
    """What this very form made already, inside a transaction; sent again at the same moment it waits for the first.

    Without the wait both would find nothing, and the second would meet a row in its way instead of its own answer.
    """
    if request_key is None:
        return None
    alone(f"form {request_key}")
    return model.objects.filter(request_key=request_key).first()


def in_lock_order(numbers: Iterable[str]) -> list[str]:
    """Lot numbers by the lots' ids: every door locks lots in that order, so that nobody waits in a circle."""
    ids = dict(Lot.objects.filter(number__in=numbers).values_list("number", "id"))
    return sorted(numbers, key=lambda number: ids.get(number, 0))


def fingerprint(body: dict[str, Any]) -> str:
    """SHA-256 of what was asked, without the moment of asking: a form sent twice is the same request."""
    stable = {key: value for key, value in body.items() if key not in ("at", "request_key", "request_sha256")}
    text = json.dumps(stable, sort_keys=True, separators=(",", ":"), ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()
