"""What a browser sends of an entry of lots: form fields and rows, by their prefixes."""

from uuid import uuid4

from django.test import Client
from django.utils import timezone


def body(*, key=None, rows=None, **fields) -> dict:
    """The body of a POST. ``rows`` maps a prefix to a list of rows, each a dict of its fields."""
    minute = timezone.localtime().strftime("%Y-%m-%dT%H:%M")
    data = {"request_key": str(key or uuid4()), "at": minute, "initial-at": minute, **fields}
    for prefix, lines in (rows or {}).items():
        data |= {f"{prefix}-TOTAL_FORMS": str(len(lines)), f"{prefix}-INITIAL_FORMS": "0"}
        for number, line in enumerate(lines):
            data |= {f"{prefix}-{number}-{name}": str(value) for name, value in line.items()}
    return data


def sent(client: Client, address: str, data: dict):
    """The answer to an entry that the book should take: the operation's number."""
    answer = client.post(address, data)
    assert answer.status_code == 302, faults(answer)
    assert answer.url.startswith("/operation/"), answer.url
    return answer.url.removeprefix("/operation/").rstrip("/")


def faults(answer) -> str:
    """What the page says is wrong, for an assertion's message and for tests of refusals."""
    page = answer.content.decode()
    if 'class="errors"' not in page:
        return page[:300]
    part = page.split('class="errors"')[1].split("</section>")[0]
    return " ".join(part.split())
