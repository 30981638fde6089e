"""Past records, one line an operation: short histories written by hand for one question."""

import json

from custody.actions.history import import_history

PARTY = {"record": "party", "code": "P-77", "name": "Saltmarsh Coin and Scrap", "country": "NL"}
HEADER = {"record": "header", "format": "custody-history", "version": 1}


def history(*operations: dict) -> None:
    """Records these operations; every history knows the one party, P-77."""
    import_history(lines=[json.dumps(record) for record in (HEADER, PARTY, *operations)])


def operation(number: str, kind: str, *, day: str, **body) -> dict:
    """One operation at noon UTC of a day, or at the full moment given."""
    at = day if "T" in day else f"{day}T12:00:00+00:00"
    return {"record": "operation", "number": number, "kind": kind, "at": at, **body}


def lot(number: str, gross: str, fine: dict[str, str] | None = None, form: str = "melt", **more) -> dict:
    """One output; ``fine`` left out means unvalued."""
    return {"lot": number, "form": form, "gross_g": gross} | ({} if fine is None else {"fine_g": fine}) | more


def receive(number: str, *, day: str, gross: str = "1000", au: str | None = "900", form: str = "dore", **more) -> dict:
    """A receipt of one parcel: a kilogram of 900 fine, unless it says otherwise."""
    parcel = lot(
        number,
        gross,
        None if au is None else {"Au": au},
        form,
        origin={"category": "recycled", "country": "NL"},
        **more,
    )
    return operation(f"OP-{number}", "receive", day=day, party="P-77", outputs=[parcel])


def cast(source: str, number: str, *, serial: str, day: str) -> dict:
    """A bar of everything in a kilogram of 900 fine."""
    bar = lot(number, "1000", {"Au": "900"}, "bar", serial=serial)
    return operation(f"CAST-{number}", "cast", day=day, inputs=[{"lot": source}], outputs=[bar])


def dispatch(number: str, *, day: str) -> dict:
    """A lot leaves whole."""
    return operation(f"OUT-{number}", "dispatch", day=day, party="P-77", inputs=[{"lot": number}])
