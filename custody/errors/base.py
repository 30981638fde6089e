"""Named refusals: what the book will not do, one small class each, with the sentence a person reads.

PostgreSQL refuses by name (constraint name and figures); ``refusal_named`` finds the class. ``field`` says which
input is to be mended, ``status`` how the HTTP API answers (409 conflict with the book, 422 breaks a rule).
"""

from decimal import Decimal
from typing import Any, Self


def grams(mg: int) -> str:
    return f"{Decimal(mg).scaleb(-3):.3f}"


class Refusal(Exception):
    """The book refuses. ``code`` names the rule, ``detail`` the figures (masses in milligrams)."""

    code = "refused"
    status = 422
    field = ""
    template = "{message}"

    def __init__(self, message: str = "", **detail: Any) -> None:
        self.message = message
        self.detail = detail
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """What is wrong, where, and what would be right."""
        words = {"message": self.message, **self.detail}
        words |= {key[:-3] + "_g": grams(value) for key, value in self.detail.items() if _is_mass(key, value)}
        try:
            return self.template.format(**words)
        except (KeyError, IndexError):
            return self.message or self.code

    def at(self, field: str) -> Self:
        """The same refusal, about this field: which input is to be mended."""
        self.field = field
        return self


def _is_mass(key: str, value: Any) -> bool:
    return key.endswith("_mg") and isinstance(value, int)


class Conflict(Refusal):
    """The request is sound, but the book says otherwise now."""

    status = 409


class NotAllowed(Refusal):
    """This person may not do this."""

    code = "not_allowed"
    status = 403
    field = "by"
    template = "{message}"


class Unbalanced(Refusal):
    code = "balance"
    field = "losses"

    @property
    def missing_mg(self) -> dict[str, int]:
        """In + added − out − losses, per column, milligrams."""
        return {k: v for k, v in self.detail.get("missing_mg", {}).items() if v}

    @property
    def sentence(self) -> str:
        parts = [
            f"{grams(abs(mg))} g of {'gross mass' if what == 'gross' else what} "
            + ("still to explain" if mg > 0 else "more goes out than came in")
            for what, mg in self.missing_mg.items()
        ]
        return (
            "In + added does not equal out + declared losses: "
            + "; ".join(parts)
            + ". Weigh again, or declare the difference by its cause."
        )


class Overdraw(Conflict):
    code = "overdraw"
    field = "inputs"

    @property
    def sentence(self) -> str:
        lot = self.detail.get("lot", "The lot")
        if not self.detail.get("book_mg"):
            return f"Lot {lot} does not hold that: nothing of it is left in the book. Check the number."
        return (
            f"Lot {lot} holds {grams(self.detail['book_mg'])} g in the book, "
            f"{grams(self.detail.get('missing_mg', 0))} g less than asked. Take less, or correct the book first."
        )


def refusal(name: str, code: str, template: str, *, base: type[Refusal] = Refusal, field: str = "") -> type[Refusal]:
    return type(name, (base,), {"code": code, "template": template, "field": field, "__doc__": template})
