"""The OpenAPI document against the API: what it allows is read, what it forbids is refused, all is promised in it."""

import re

import hypothesis
import pytest
import schemathesis
from django.core.wsgi import get_wsgi_application
from schemathesis import GenerationMode

from custody.actions.tokens import make_token
from tests import builders
from tests.api.conftest import does_all

EXAMPLES = 15
#: What JSON Schema cannot say of these: that a month has the day, that a signature has its meaning, that a number
#: stands once.
READ_CLOSELY = {"at", "about", "read_at", "Countersign-Meaning", "outputs.lot"}


@pytest.fixture
def document(committed_db):
    """The document as a program finds it, in a house with places and a scale."""
    builders.places()
    builders.scale()
    found = schemathesis.openapi.from_wsgi("/api/openapi.json", get_wsgi_application())
    found.config.checks.positive_data_acceptance.expected_statuses = ["2xx", "400", "401", "404", "409", "422"]
    return found


@pytest.fixture
def bearer(document):
    token, _ = make_token(user=does_all(), by=None)
    return {"Authorization": f"Bearer {token}"}


def answers(operation, mode, bearer):
    """Sends examples of an operation and checks each answer against the document; gives status, field and body sent."""
    told = []

    @hypothesis.settings(max_examples=EXAMPLES, derandomize=True, database=None)
    @hypothesis.given(operation.as_strategy(generation_mode=mode))
    def send(case):
        hypothesis.assume(case.meta.phase.data.parameter != "Authorization")  # ours is sent in its place
        answer = case.call_and_validate(headers=bearer)
        field = answer.json().get("field", "") if answer.status_code >= 400 else ""
        told.append((answer.status_code, field, ascii(case.body)))

    send()
    return told


def test_what_the_document_allows_is_read(document, bearer):
    for found in document.get_all_operations():
        operation = found.ok()
        told = answers(operation, GenerationMode.POSITIVE, bearer)
        unread = [one for one in told if one[0] == 400 and re.sub(r"\[\d+\]", "", one[1]) not in READ_CLOSELY]
        assert not unread, operation.label


@pytest.mark.parametrize("address", ["/api/operations", "/api/weighings"])
def test_what_the_document_forbids_is_refused(document, bearer, address):
    for status, field, sent in answers(document[address]["POST"], GenerationMode.NEGATIVE, bearer):
        assert status == 401 or (status == 400 and field), (status, field, sent)
