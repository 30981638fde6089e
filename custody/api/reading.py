"""Who sends a request, and what is in it."""

from typing import Any

from django.http import HttpRequest
from ninja.parser import Parser
from ninja.security import HttpBearer

from custody.api.problems import Unanswerable
from custody.calc.history import read_json
from custody.models import User
from custody.queries.tokens import holder_of

#: A request's body in bytes, and no more.
LARGEST = 1_000_000


class Bearer(HttpBearer):
    """A token in the name of one person. A closed login's tokens and revoked ones open nothing."""

    def authenticate(self, request: HttpRequest, token: str) -> User | None:
        return holder_of(token)


def only(request: HttpRequest, *parameters: str) -> None:
    """Raises ``Unanswerable`` for a parameter that is not known: a misspelt one would be passed over in silence."""
    for name in request.GET:
        if name not in parameters:
            raise Unanswerable("not_readable", f"There is no parameter {name[:40]!r} here.", field=name[:40] or "query")


def read_text(request: HttpRequest) -> str:
    """The body as text. Raises ``Unanswerable`` for another media type, for too much, and for what is not UTF-8."""
    charset = request.content_params.get("charset", "utf-8").lower() if request.content_params else "utf-8"
    if request.content_type != "application/json" or charset not in ("utf-8", "utf8"):
        raise Unanswerable("unsupported_media_type")
    size = request.META.get("CONTENT_LENGTH") or "0"
    if not size.isdigit() or int(size) > LARGEST or len(request.body) > LARGEST:
        raise Unanswerable("too_large")
    try:
        return request.body.decode()
    except UnicodeDecodeError:
        raise Unanswerable("not_readable", "The body is not UTF-8 text.", field="body") from None


class StrictParser(Parser):
    """JSON as the history file has it: no key twice, no fraction, no NaN."""

    def parse_body(self, request: HttpRequest) -> dict[str, Any]:
        return read_json(read_text(request))
