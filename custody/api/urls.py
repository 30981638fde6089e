"""Addresses of the API: the operations and scales, the OpenAPI document, and what each problem means."""

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import path, re_path
from django.views.decorators.csrf import csrf_exempt
from ninja import NinjaAPI

from custody.api import operations, problems, scales
from custody.api.answers import ProblemShown, RuleShown, refusals
from custody.api.reading import Bearer, StrictParser
from custody.api.record_schema import schemas

_ABOUT = """Other programs record in the book of metal and read from it, each request in the name of one person, by a
token: `Authorization: Bearer …`. A manager makes it on the person's page, or `manage.py api_token USERNAME` prints it.

Errors are problem details (RFC 9457, `application/problem+json`): `detail` is a sentence for people, `code` a word for
programs, `field` what is to be mended. 400 cannot be read, 401 no token that works, 403 not this person's to do, 404
not there, 409 the book says otherwise now, 422 does not balance or breaks a rule."""


class BookAPI(NinjaAPI):
    """The API, and its OpenAPI document with what the framework cannot know."""

    def get_openapi_schema(self, **where: Any) -> dict[str, Any]:
        """The document: with the contract's record, and problems under their own media type."""
        document = super().get_openapi_schema(**where)
        document["components"]["schemas"] |= schemas()
        for of_path in document["paths"].values():
            for operation in of_path.values():
                for status, answer in operation["responses"].items():
                    if status >= 400:
                        answer["content"] = {
                            problems.MEDIA_TYPE: {"schema": {"$ref": f"#/components/schemas/{ProblemShown.__name__}"}}
                        }
        return document


api = BookAPI(
    title="Book of Metal",
    version="1",
    description=_ABOUT,
    docs_url=None,
    auth=Bearer(),
    parser=StrictParser(),
    urls_namespace="api",
)
problems.answer_with_problems(api)
api.add_router("", operations.router)
api.add_router("", scales.router)


@api.get(
    "/problems/{code}",
    auth=None,
    operation_id="explainProblem",
    summary="What a problem means",
    tags=["Problems"],
    response={200: RuleShown, **refusals(404)},
)
def explain(request: HttpRequest, code: str):
    """The rule behind a problem's code, where the `type` of a problem leads."""
    return problems.explain(code)


@csrf_exempt
def nothing(request: HttpRequest, **_: Any) -> HttpResponse:
    """An address that is none: said as a problem too, whatever the method."""
    return problems.of_status(404)


urlpatterns = [path("", api.urls), re_path(r"^.*$", nothing)]
