"""A field for a lot that says at once what the book knows of it: what it is, who holds it, its gross and metals.

The page's script asks the book as soon as a lot is scanned; without script a button that looks up does. The field
holds the lot's figures for the running balance (static/custody/balance.js).
"""

from collections.abc import Iterable
from dataclasses import dataclass

from django import forms
from django.urls import reverse_lazy

from custody.models import Lot, User
from custody.queries import scope
from custody.terms import COLUMNS, Clearance
from custody.web.forms import ScanField


@dataclass(frozen=True, slots=True)
class LotBook:
    """What the page says of one lot: words, and its columns in milligrams (None: not valued, so not known)."""

    number: str
    words: str
    columns_mg: tuple[int | None, ...] = ()

    @property
    def figures(self) -> list[tuple[str, int | None]]:
        """Each column's name with its milligrams."""
        return list(zip(COLUMNS, self.columns_mg or (None,) * len(COLUMNS), strict=True))

    def as_json(self) -> dict:
        """For the page's script: whole milligrams as text, so that no figure becomes a float on the way."""
        return {
            "number": self.number,
            "words": self.words,
            "mg": {name: str(mg) for name, mg in self.figures if mg is not None},
        }


def lots_by_code(codes: Iterable[str], viewer: User) -> dict[str, Lot]:
    """The lots that the viewer may see under these codes, as typed or in capitals; a bar under its serial too.

    A serial that names several bars names none.
    """
    wanted = {code.strip() for code in codes if code and "\0" not in code} - {""}
    spellings = wanted | {code.upper() for code in wanted}
    seen = scope.lots(viewer).select_related("custodian", "place", "bar")
    found = {lot.number: lot for lot in seen.filter(number__in=spellings)}
    unknown = {code for code in wanted if code not in found and code.upper() not in found}
    if unknown:
        bars: dict[str, list[Lot]] = {}
        for lot in seen.filter(bar__serial__in=unknown | {code.upper() for code in unknown}, gross_mg__gt=0):
            bars.setdefault(lot.bar.serial, []).append(lot)
        found |= {serial: lots[0] for serial, lots in bars.items() if len(lots) == 1}
    return {code: found.get(code) or found[code.upper()] for code in wanted if code in found or code.upper() in found}


def book_of(lot: Lot | None, code: str, viewer: User) -> LotBook:
    """What the page says of the lot that was found under a code."""
    if lot is None:
        return LotBook(code, f"There is no lot {code[:40]}. Check the number, or scan the label.")
    if not lot.gross_mg:
        return LotBook(lot.number, f"Lot {lot.number} is empty: nothing of it is left in the book.")
    words = [lot.get_form_display(), "in your custody" if lot.custodian_id == viewer.pk else f"held by {lot.custodian}"]
    words += [f"at {lot.place}", Clearance(lot.clearance).label]
    if not lot.valued:
        words.append("not valued yet: no metals in the book")
    known = lot.columns_mg if lot.valued else (lot.gross_mg, *(None,) * len(lot.metals_mg))
    return LotBook(lot.number, ", ".join(words) + ".", known)


class LotInput(forms.TextInput):
    """A text field and, below it, the book of the lot named in it (``book``, set by ``show_books``)."""

    template_name = "ui/lot_input.html"
    book: LotBook | None = None

    def get_context(self, name, value, attrs):
        context = super().get_context(name, value, attrs)
        context["widget"] |= {"book": self.book or LotBook("", ""), "ask": reverse_lazy("lot-book")}
        return context


class LotField(ScanField):
    """A lot that goes in, by its number or its bar's serial."""

    widget = LotInput

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"data-lot-look": True}


def show_books(forms_with_lots: Iterable[forms.Form], viewer: User, field: str = "lot") -> dict[str, Lot]:
    """Puts each named lot's book into its form's field; gives the lots by the codes that name them."""
    named = [(form, str(form[field].value() or "").strip()) for form in forms_with_lots]
    lots = lots_by_code((code for _, code in named), viewer)
    for form, code in named:
        if code:
            form.fields[field].widget.book = book_of(lots.get(code), code, viewer)
    return lots
