"""What the API answers, and the parts that its addresses share."""

from datetime import datetime
from typing import Annotated

from ninja import Header, Schema
from pydantic import Field


class Recorded(Schema):
    """What was recorded. ``replayed`` says that it was recorded before, by the same key and body."""

    number: str = Field(description="Number of the operation.")
    id: int
    lots: list[str] = Field(description="Numbers of the lots that it made or valued, in their order.")
    replayed: bool


class OperationShown(Schema):
    """One operation of the book."""

    number: str
    id: int
    kind: str
    at: datetime
    party: str | None = Field(description="Code of the party, if it names one.")
    source: str = Field(description="Through which door it came: live, history or api.")
    lots: list[str]
    reversed_by: str | None = Field(description="Number of the operation that undid it.")
    sha256: str = Field(description="SHA-256 of its canonical bytes, hexadecimal.")


class ScaleShown(Schema):
    """One scale of the register."""

    code: str
    name: str
    accuracy: str = Field(description="Accuracy class (OIML R 76): I, II, III or IIII.")
    state: str = Field(description="Where it stands today: checked today, not checked today, failed its check.")


class ReadingKept(Schema):
    """A reading that was kept; a form picks it up."""

    id: int
    scale: str
    value_g: str = Field(description="The reading in grams, six decimals.")
    stable: bool
    read_at: datetime
    replayed: bool


class ProblemShown(Schema):
    """A problem (RFC 9457)."""

    type: str = Field(description="Address of the problem's kind.")
    title: str
    status: int
    detail: str = Field(description="What is wrong, where, and what would be right.")
    code: str
    field: str | None = Field(None, description="What is to be mended: a key of the body, a header, a parameter.")
    lot: str | None = None
    missing_mg: dict[str, int] | None = Field(
        None, description="Milligrams by column (gross, Au, …): in + added − out − losses, or what is lacking."
    )
    missing_g: dict[str, str] | None = Field(None, description="The same in grams.")


class RuleShown(Schema):
    """What a kind of problem means."""

    code: str
    title: str
    status: int
    rule: str
    field: str


#: The header that makes a request safe to send again.
IdempotencyKey = Annotated[
    str,
    Header(
        alias="Idempotency-Key",
        min_length=1,
        max_length=200,
        pattern=r"^[!-~]([ -~]*[!-~])?$",
        description="Any 1 to 200 printable ASCII characters, your own for each thing to be recorded. Send a request"
        " that got no answer again with the same key and body: it is recorded once. Keys of two people never meet.",
    ),
]


def refusals(*statuses: int) -> dict[int, type[Schema]]:
    """Statuses beside 401, 405 and 500 that an address may answer with a problem."""
    return dict.fromkeys(sorted({401, 405, 500, *statuses}), ProblemShown)
