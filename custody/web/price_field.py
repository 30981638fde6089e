"""A field for the price of a metal."""

from decimal import Decimal

from django import forms
from django.core.exceptions import ValidationError

from custody.calc.price import parse_price
from custody.calc.refusals import Refused


class PriceField(forms.Field):
    """Money per unit of mass as typed, cleaned to a Decimal; ``None`` when blank. ``what`` names it in a refusal."""

    widget = forms.TextInput

    def __init__(self, *, what: str, **kwargs):
        self.what = what
        super().__init__(**kwargs)

    def widget_attrs(self, widget):
        return {"class": "figure", "inputmode": "decimal", "autocomplete": "off"}

    def to_python(self, value):
        if value is None or isinstance(value, Decimal):
            return value
        if not value.strip():
            return None
        try:
            return parse_price(value, what=self.what)
        except Refused as refused:
            raise ValidationError(refused.sentence, code="unreadable") from refused

    def prepare_value(self, value):
        return f"{value:f}" if isinstance(value, Decimal) else value
