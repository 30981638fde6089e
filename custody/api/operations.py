"""POST /api/operations: one operation record of the contract, recorded whole or not at all."""

from typing import Any

from django.http import HttpRequest
from ninja import Header, Query, Router, Status

from custody.actions._sign import Signature
from custody.actions.record_operation import record_operation
from custody.api.answers import IdempotencyKey, OperationShown, Recorded, refusals
from custody.api.problems import COUNTERSIGN, Unanswerable
from custody.api.reading import only, read_text
from custody.api.record_schema import kinds_in_words
from custody.calc.history import read_line
from custody.calc.refusals import Refused
from custody.models import Operation
from custody.queries import scope
from custody.queries.tokens import holder_of

router = Router(tags=["Operations"])

_RECORDING = f"""One operation record, exactly as in the history file. Masses are strings of grams with at most three
decimals; in + added = out + declared losses, for gross and every metal, to the milligram.

- It is recorded in the name and the custody of the token's person, who needs the role for its kind and must hold the
  lots that go in.
- A parcel of a `receive` with `fine_g` counts as valued by it; without, it waits for its assay. Where assays are
  exchanged with the party it is sent without. It is released only if the token's person is a compliance officer;
  otherwise it waits for release, as at the counter.
- Past the tolerance of its kind the book answers `countersignature_needed`. Send it again, with the `reason` in the
  record and the same key, and in `Countersign-Authorization` the token of a manager, who is somebody else.
- 409 says that the request is sound but the book says otherwise now; 422 that it does not balance (`missing_mg`) or
  breaks a rule. Nothing is recorded then, and the key stays unused.

{kinds_in_words()}"""


def _record(request: HttpRequest) -> dict[str, Any]:
    record = read_line(read_text(request))
    if record["record"] != "operation":
        raise Refused("Send one operation record. Parties are entered on the screens or imported.", field="record")
    return record


def _signature(authorization: str, meaning: str) -> Signature | None:
    """The second person, by a token of their own. Raises ``Unanswerable``."""
    if not authorization and not meaning:
        return None
    scheme, _, token = authorization.partition(" ")
    signer = holder_of(token.strip()) if scheme.lower() == "bearer" else None
    if signer is None:
        raise Unanswerable("countersigner_unknown", field=COUNTERSIGN)
    if not meaning.strip():
        raise Unanswerable("not_readable", "Say what the signature means.", field="Countersign-Meaning")
    return Signature(signer, meaning.strip())


@router.post(
    "/operations",
    operation_id="recordOperation",
    summary="Record an operation",
    description=_RECORDING,
    response={201: Recorded, 200: Recorded, **refusals(400, 403, 409, 413, 415, 422)},
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {"application/json": {"schema": {"$ref": "#/components/schemas/OperationRecord"}}},
        }
    },
)
def record(
    request: HttpRequest,
    idempotency_key: IdempotencyKey,
    place: str = Query(
        "",
        max_length=30,
        pattern=r"^[^\x00]*$",
        description="Place where the parcels of a receipt stand; the first counter without it.",
    ),
    countersign_authorization: str = Header(
        "", alias="Countersign-Authorization", description="“Bearer” and the token of the second person."
    ),
    countersign_meaning: str = Header(
        "", alias="Countersign-Meaning", max_length=200, pattern="^[ -~]*$", description="What that signature means."
    ),
):  # fmt: skip
    """Records one operation."""
    only(request, "place")
    request.record = _record(request)
    posted = record_operation(
        record=request.record,
        by=request.auth,
        key=idempotency_key,
        countersign=_signature(countersign_authorization, countersign_meaning),
        place=place,
    )
    answer = {"number": posted.number, "id": posted.id, "lots": posted.lots, "replayed": posted.replayed}
    return Status(200 if posted.replayed else 201, answer)


@router.get(
    "/operations/{path:number}",
    operation_id="showOperation",
    summary="Look at an operation",
    response={200: OperationShown, **refusals(404)},
)
def show(request: HttpRequest, number: str):
    """One operation as it stands in the book. A customer sees its own receipts."""
    found = scope.operations(request.auth).select_related("party", "reversed_by").filter(number=number).first()
    if found is None:
        raise Unanswerable("not_found", f"There is no operation {number} that this person may see.", field="number")
    return {
        "number": found.number,
        "id": found.pk,
        "kind": found.kind,
        "at": found.at,
        "party": found.party.code if found.party else None,
        "source": found.source,
        "lots": _lots(found),
        "reversed_by": found.reversed_by.number if hasattr(found, "reversed_by") else None,
        "sha256": bytes(found.sha256).hex(),
    }


def _lots(operation: Operation) -> list[str]:
    made = operation.movements.filter(side="out", lot__isnull=False).order_by("line")
    return list(made.values_list("lot__number", flat=True))
