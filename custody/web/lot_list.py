"""A field for many lots at once: one number a line, as a hand scanner writes them one after the other."""

from django import forms
from django.core.exceptions import ValidationError

from custody.models import Lot, User
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
    """The lots of a list that could be read, in their order; what is unknown or one lot twice is said on the form."""
    codes = form.cleaned_data.get(name) or []
    found = lots_by_code(codes, viewer)
    named: dict[int, str] = {}
    for code in codes:
        if code not in found:
            form.add_error(name, f"There is no lot {code}. Check the number, or scan the label.")
        elif named.setdefault(found[code].pk, code) != code:
            form.add_error(name, f"{code} is the same lot as {named[found[code].pk]}. Name each lot once.")
    return [found[code] for code in codes if code in found]
