"""An operation record of the contract (calc/history.py) as the request that the book takes. File and API share it."""

from typing import Any

from custody.actions import _post


def request_of(record: dict[str, Any]) -> dict[str, Any]:
    """The request of a record, with the fingerprint of all that it says, the time too.

    Two doors, one fingerprint: what the API recorded is known to an import of the same records, and changes nothing.
    """
    request = {key: value for key, value in record.items() if key != "record"}
    request["at"] = request["at"].isoformat()
    return request | {"request_sha256": _post.fingerprint({**request, "asked_at": request["at"]})}
