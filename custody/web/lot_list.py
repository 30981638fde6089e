"""A field for many lots at once: one number a line, as a hand scanner writes them one after the other."""

from django import forms
from django.core.exceptions import ValidationError

from custody.models import Lot, User
from custody.queries.boxes import unboxed
from custody.web.lot_field import lots_by_code

MOST = 200
LONGEST = 64


class LotListField(forms.CharField):
    """Lots by number or bar serial, one a line; cleaned to the codes in their order. No code stands there twice."""

    widget = forms.Textarea

    def widget_attrs(self, widget):
        plain = {"class": "mark", "autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}
        return super().widget_attrs(widget) | plain

    def to_python(self, value):
        codes = [" ".join(line.split()) for line in (value or "").splitlines()]
        lines = [(number, code) for number, code in enumerate(codes, start=1) if code]
        if len(lines) > MOST:
            raise ValidationError(f"No more than {MOST} lots fit in one entry. Record the rest in another.")
        seen: dict[str, int] = {}
        for number, code in lines:
            if len(code) > LONGEST or "\0" in code:
                raise ValidationError(f"Line {number} is no lot's number. Scan one lot a line.")
            first = seen.setdefault(code.casefold(), number)
            if first != number:
                raise ValidationError(f"Line {number}: {code} stands in line {first} already. Name each lot once.")
        return [code for _, code in lines]


def lots_in(form: forms.Form, name: str, viewer: User) -> list[Lot]:
    """The lots of a list that could be read, in their order; a closed box, by number or seal, stands for its bars.

    What is unknown or one lot twice is said on the form.
    """
    codes = form.cleaned_data.get(name) or []
    found = lots_by_code(codes, viewer)
    boxed = unboxed([code for code in codes if code not in found], viewer)
    named: dict[int, str] = {}
    lots = []
    for code in codes:
        inside = boxed.get(code) or ([found[code]] if code in found else [])
        if not inside:
            form.add_error(name, f"There is no lot {code}. Check the number, or scan the label.")
        for lot in inside:
            if named.setdefault(lot.pk, code) == code:
                lots.append(lot)
            elif code in boxed or named[lot.pk] in boxed:
                form.add_error(name, f"{code} and {named[lot.pk]} name the same bar {lot.number}. Name each lot once.")
            else:
                form.add_error(name, f"{code} is the same lot as {named[lot.pk]}. Name each lot once.")
    return lots
