"""Errors of the API, all of them: problem details (RFC 9457), never a page and never a traceback."""

import logging
from collections.abc import Callable
from typing import Any

from django.core.exceptions import RequestDataTooBig
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from ninja import NinjaAPI
from ninja.errors import AuthenticationError, HttpError, ValidationError

from custody.calc.mass import plain_grams
from custody.calc.refusals import Refused
from custody.errors import BY_CODE, NumberTaken, Refusal, RequestKey
from custody.terms import COLUMNS

logger = logging.getLogger(__name__)

MEDIA_TYPE = "application/problem+json"
KEY = "Idempotency-Key"
COUNTERSIGN = "Countersign-Authorization"

#: Problems of the request itself, by their code: status, and a sentence that is always true of them.
OF_REQUESTS = {
    "not_readable": (400, "The request cannot be read as what it should be. Mend the field that is named."),
    "unauthorized": (401, "Send “Authorization: Bearer …” with a token that works: a manager makes one."),
    "countersigner_unknown": (401, "The second person's token does not work. Nothing was recorded."),
    "not_allowed": (403, "This person may not do this. Ask a manager for the role."),
    "not_found": (404, "There is nothing at this address that this person may see."),
    "method_not_allowed": (405, "This address does not take this method. The header “Allow” says which it takes."),
    "too_large": (413, "A request holds at most a million bytes. Send operations one by one."),
    "unsupported_media_type": (415, "Send “Content-Type: application/json”, in UTF-8."),
    "server_error": (500, "The server failed. Send the same request again: the same key is recorded once."),
}  # fmt: skip
_CODE_OF_STATUS = {status: code for code, (status, _) in reversed(OF_REQUESTS.items())}


class Unanswerable(Exception):
    """A request that goes no further: a code of OF_REQUESTS, and what is wrong in this case."""

    def __init__(self, code: str, detail: str = "", *, field: str = "") -> None:
        self.code = code
        self.detail = detail
        self.field = field
        super().__init__(detail or code)


def problem(code: str, status: int, detail: str, *, field: str = "", **more: Any) -> HttpResponse:
    """One problem: its address, title and status by its code, the sentence, the field to be mended, and figures."""
    body = {"type": f"/api/problems/{code}", "title": title_of(code), "status": status, "detail": detail, "code": code}
    body |= {key: value for key, value in {"field": field, **more}.items() if value}
    response = JsonResponse(body, status=status, content_type=MEDIA_TYPE)
    if status == 401:
        response["WWW-Authenticate"] = 'Bearer realm="custody"'
    return response


def title_of(code: str) -> str:
    """The same few words for every problem of a code."""
    return code.replace("_", " ").capitalize()


def explain(code: str) -> dict[str, Any]:
    """What a problem's address answers: status and rule. Raises ``Unanswerable`` for a code that is none."""
    if code in OF_REQUESTS:
        status, rule = OF_REQUESTS[code]
    elif code in BY_CODE:
        status, rule = BY_CODE[code].status, BY_CODE[code].template.replace("{message}", "").strip()
    else:
        raise Unanswerable("not_found")
    field = BY_CODE[code].field if code in BY_CODE else ""
    return {
        "code": code,
        "title": title_of(code),
        "status": status,
        "rule": rule or "The problem says it in its detail.",
        "field": field,
    }


def _refusal(request: HttpRequest, refusal: Refusal) -> HttpResponse:
    """The book refuses: with the field, the lot, and the milligrams that are missing."""
    detail, field = refusal.sentence, refusal.field
    if isinstance(refusal, RequestKey):
        recorded = refusal.detail.get("operation", "")
        detail, field = f"This key was sent before with another body, recorded as {recorded}. Take a new key.", KEY
    elif isinstance(refusal, NumberTaken):
        detail = f"Operation {refusal.detail.get('number')} is recorded already. Look at it, or take another number."
    elif field == "countersign":
        field = COUNTERSIGN
    elif field == "by":
        field = "Authorization"
    elif field == "determination":  # a record says what was found in so many words
        field = "fine_g"
    lot, record = refusal.detail.get("lot", ""), getattr(request, "record", {})
    missing = _missing(refusal)
    return problem(
        refusal.code,
        refusal.status,
        detail,
        field=_entry_of(refusal, field, record),
        lot=lot,
        missing_mg=missing,
        missing_g={column: plain_grams(mg) for column, mg in missing.items()},
    )


def _missing(refusal: Refusal) -> dict[str, int]:
    """Milligrams by column: what a balance lacks, or what a lot or an account lacks of what was asked."""
    missing = refusal.detail.get("missing_mg")
    if isinstance(missing, dict):
        return {column: mg for column, mg in missing.items() if mg}
    if not isinstance(missing, int):
        return {}
    return {refusal.detail.get("metal") or COLUMNS[refusal.detail.get("column", 0)]: missing}


def _entry_of(refusal: Refusal, field: str, record: dict[str, Any]) -> str:
    """The entry of the record that the refusal is about: ``inputs[1]`` for ``inputs``, ``outputs[0].vessel``."""
    side, key, shown = ("outputs", "vessel", ".vessel") if field == "place" else (field, "lot", "")
    named = refusal.detail.get("place" if field == "place" else "lot")
    if side not in ("inputs", "outputs") or not named:
        return field
    found = [at for at, entry in enumerate(record.get(side, [])) if entry.get(key) == named]
    return f"{side}[{found[-1]}]{shown}" if found else field


def _refused(request: HttpRequest, refused: Refused) -> HttpResponse:
    field = "body" if refused.field == "line" else refused.field
    return problem("not_readable", 400, refused.sentence, field=field)


def _unanswerable(request: HttpRequest, wrong: Unanswerable) -> HttpResponse:
    status, rule = OF_REQUESTS[wrong.code]
    return problem(wrong.code, status, wrong.detail or rule, field=wrong.field)


def _invalid(request: HttpRequest, wrong: ValidationError) -> HttpResponse:
    first = wrong.errors[0]
    field = ".".join(str(part) for part in first["loc"][1:] if part != "weighing") or "body"
    return problem("not_readable", 400, f"{field}: {first['msg']}.", field=field)


def _http_error(request: HttpRequest, error: HttpError) -> HttpResponse:
    """The framework's own; what it wraps (a body that can't be read) is answered as what it is."""
    cause = error.__cause__
    if isinstance(cause, Refused):
        return _refused(request, cause)
    if isinstance(cause, Unanswerable):
        return _unanswerable(request, cause)
    return of_status(error.status_code)


def _failed(request: HttpRequest, error: Exception) -> HttpResponse:
    logger.error("%s %s failed", request.method, request.path, exc_info=error)
    return of_status(500)


def of_status(status: int) -> HttpResponse:
    """The problem of a bare status."""
    code = _CODE_OF_STATUS.get(status, "not_readable" if status < 500 else "server_error")
    return problem(code, status, OF_REQUESTS[code][1])


def answer_with_problems(api: NinjaAPI) -> None:
    """Has every error of the API answered as a problem."""
    handlers = {
        Refusal: _refusal,
        Refused: _refused,
        Unanswerable: _unanswerable,
        ValidationError: _invalid,
        HttpError: _http_error,
        AuthenticationError: lambda request, error: of_status(401),
        Http404: lambda request, error: of_status(404),
        RequestDataTooBig: lambda request, error: of_status(413),
        Exception: _failed,
    }
    for kind, handler in handlers.items():
        api.add_exception_handler(kind, handler)


class ProblemMiddleware:
    """What never reached the API, or left it without a word, is a problem too: an address, a method, a size."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if not request.path_info.startswith("/api/"):
            return response
        if response.status_code >= 400 and response.headers.get("Content-Type") != MEDIA_TYPE:
            plain = of_status(response.status_code)
            if "Allow" in response.headers:
                plain["Allow"] = response["Allow"]
            response = plain
        response.headers.setdefault("Cache-Control", "no-store")
        return response
