"""Bases of every entry form: fields that read the trade's figures, a key that makes an entry count once, rows.

A field that can't be read answers with a sentence and keeps what was typed; nothing is guessed.
"""

import uuid
from datetime import datetime
from decimal import Decimal
from typing import ClassVar

from django import forms
from django.core.exceptions import ValidationError
from django.forms.renderers import DjangoTemplates
from django.template import loader
from django.utils import timezone

from custody.calc import fineness, mass, money, reading
from custody.calc.countries import country_code

_LOST = "The page lost {}. Open it again and enter it anew."
_DJANGO_REQUIRED = forms.Field.default_error_messages["required"]


class KitRenderer(DjangoTemplates):
    """Forms, fields and rows by the house's own templates; the plain widgets by Django's."""

    form_template_name = "ui/form.html"
    field_template_name = "ui/field.html"
    formset_template_name = "ui/rows.html"

    def get_template(self, template_name):
        if template_name.startswith(("ui/", "staff/")):
            return loader.get_template(template_name)
        return super().get_template(template_name)


class _FigureField(forms.Field):
    """A figure typed as text, cleaned to a whole number; ``what`` names it in the sentence of a refusal."""

    widget = forms.TextInput
    what = ""
    clean_type = int

    def __init__(self, *, what: str = "", zero: bool = False, **kwargs):
        self.what, self.zero = what or self.what, zero
        super().__init__(**kwargs)

    def widget_attrs(self, widget):
        return {"class": "figure", "inputmode": "decimal", "autocomplete": "off", "data-scan": True}

    def to_python(self, value):
        if value is None or isinstance(value, self.clean_type):
            return value
        if not value.strip():
            return None
        try:
            return self.parse(value)
        except ValueError as error:
            raise ValidationError(str(error), code="unreadable") from error

    def prepare_value(self, value):
        return self.show(value) if isinstance(value, self.clean_type) else value

    def has_changed(self, initial, data):
        return not self.disabled and (self.prepare_value(initial) or "") != (data or "").strip()


class GramsField(_FigureField):
    """Grams as typed or sent by a scale, cleaned to integer milligrams; ``None`` when blank.

    ``metal`` ("gross" or a chemical symbol) makes the running balance count it. ``zero`` allows zero (a metal
    may be absent, a weight may not); ``signed`` allows a leading minus, for what a declared loss gives back.
    """

    def __init__(self, *, metal: str = "", signed: bool = False, **kwargs):
        self.metal, self.signed = metal, signed
        symbol = metal and metal != "gross"
        what = f"weight of {metal}" if symbol else "gross weight" if metal else "weight"
        named = {"what": what, "zero": bool(symbol)}
        if metal:
            named["label"] = f"{metal if symbol else 'Gross'}, g"
        super().__init__(**named | kwargs)

    def widget_attrs(self, widget):
        balance = {"data-metal": self.metal} if self.metal else {}
        return super().widget_attrs(widget) | balance | ({"data-signed": True} if self.signed else {})

    def parse(self, text: str) -> int:
        text = text.strip()
        negative = self.signed and text[0] in f"-{mass.MINUS}"
        size = mass.parse_grams(text[negative:], what=self.what, allow_units=True, allow_zero=self.zero)
        return -size if negative else size

    def show(self, mg: int) -> str:
        return mass.plain_grams(mg)


class PerMilleField(_FigureField):
    """Fineness in parts per thousand, cleaned to integer parts per million; ``None`` when blank."""

    what = "fineness"

    def parse(self, text: str) -> int:
        return fineness.parse_per_mille(text, what=self.what, allow_zero=self.zero)

    def show(self, ppm: int) -> str:
        return fineness.format_per_mille(ppm)


class PercentField(_FigureField):
    """Per cent with at most four decimals, cleaned to integer parts per million; ``None`` when blank."""

    what = "share"

    def parse(self, text: str) -> int:
        return fineness.parse_percent(text, what=self.what, allow_zero=self.zero)

    def show(self, ppm: int) -> str:
        return fineness.format_percent(ppm)


class CountField(_FigureField):
    """A whole number of things, like pieces; ``None`` when blank."""

    what = "number"
    most = 1_000_000

    def parse(self, text: str) -> int:
        text = reading.clean(text, what=self.what, example="12")
        count = reading.scaled(text, decimals=0, most=0, what=self.what, example="12")
        if not self.zero:
            reading.refuse_zero(count, what=self.what, example="12")
        if count > self.most:
            raise ValueError(f"The {self.what} is more than {self.most:,}. Check it.".replace(",", mass.GROUP))
        return count

    def show(self, count: int) -> str:
        return str(count)


class ThousandthsField(_FigureField):
    """A figure with at most three decimals, cleaned to whole thousandths; ``None`` when blank. ``zero`` allows zero."""

    what = "figure"
    example = "120.5"

    def parse(self, text: str) -> int:
        text = reading.clean(text, what=self.what, example=self.example)
        value = reading.scaled(text, decimals=3, most=3, what=self.what, example=self.example)
        if not self.zero:
            reading.refuse_zero(value, what=self.what, example=self.example)
        return value

    def show(self, value: int) -> str:
        whole, part = divmod(value, 1000)
        return f"{whole}.{part:03d}".rstrip("0").rstrip(".")


class MoneyField(_FigureField):
    """An amount or a price without its currency, cleaned to Decimal; ``None`` when blank."""

    what = "amount"
    clean_type = Decimal

    def __init__(self, *, decimals: int = 2, **kwargs):
        self.decimals = decimals
        super().__init__(**kwargs)

    def parse(self, text: str) -> Decimal:
        example = "1234.50"
        text = reading.clean(text, what=self.what, example=example)
        units = reading.scaled(text, decimals=self.decimals, most=self.decimals, what=self.what, example=example)
        if not self.zero:
            reading.refuse_zero(units, what=self.what, example=example)
        return money.checked_amount(Decimal(units).scaleb(-self.decimals), self.what, decimals=self.decimals)

    def show(self, amount: Decimal) -> str:
        return f"{amount:f}"


class ScanField(forms.CharField):
    """A number typed or scanned: lot, bar, receipt. Enter moves on to the next field."""

    wide = True

    def __init__(self, *, max_length: int = 64, **kwargs):
        super().__init__(max_length=max_length, **kwargs)

    def widget_attrs(self, widget):
        plain = {"class": "mark", "autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}
        return super().widget_attrs(widget) | plain | {"data-scan": True}


class CountryField(forms.CharField):
    """A country by its two letters or its name in the list (ui/countries.html), cleaned to the two letters."""

    def __init__(self, **kwargs):
        super().__init__(**{"label": "Country", "max_length": 60} | kwargs)

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"list": "countries", "autocomplete": "off", "data-scan": True}

    def to_python(self, value):
        value = super().to_python(value)
        if value in self.empty_values:
            return value
        try:
            return country_code(value)
        except ValueError as error:
            raise ValidationError(str(error), code="unreadable") from error


class MomentField(forms.DateTimeField):
    """A local date and minute, cleaned to an aware datetime in the refinery's zone."""

    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    default_error_messages: ClassVar = {"invalid": "Give a date and a time, like 2024-01-31 14:05."}


class DayField(forms.DateField):
    """A local day. Years at the ends of the calendar have no month before or after them: they are slips."""

    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    default_error_messages: ClassVar = {"invalid": "Give a day, like 2024-01-31."}

    def validate(self, value):
        super().validate(value)
        if value and not 1900 <= value.year <= 2999:
            raise ValidationError("Give a day of a year between 1900 and 2999.")


class KitForm(forms.Form):
    """A form drawn by the kit. ``mark_optional`` says beside a label that it may stay blank.

    ``about_all``: the field that a refusal without one is told at; None: above the form.
    """

    default_renderer = KitRenderer
    mark_optional = True
    about_all: str | None = None

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name, field in self.fields.items():
            if field.error_messages.get("required") == _DJANGO_REQUIRED:
                label = field.label or name.replace("_", " ").capitalize()
                field.error_messages["required"] = f"{label} is missing."

    def refuse(self, refusal: Exception) -> None:
        """Say on the page what the book refused, beside the field that the refusal names if there is one."""
        field = getattr(refusal, "field", "")
        about = field if field in self.fields else self.about_all
        self.add_error(about, getattr(refusal, "sentence", str(refusal)))


class BaseForm(KitForm):
    """An entry. Its ``request_key`` stays the same however often it is sent, so the book records it once."""

    request_key = forms.UUIDField(
        widget=forms.HiddenInput,
        initial=uuid.uuid4,
        error_messages=dict.fromkeys(("required", "invalid"), _LOST.format("its key")),
    )


def this_minute() -> datetime:
    """Now, as precisely as a field for a moment shows it."""
    return timezone.localtime().replace(second=0, microsecond=0)


class EventForm(BaseForm):
    """An entry about something that happened. Left untouched, ``at`` means the moment of recording.

    The minute on the screen lies before a lot's last event when that was a few seconds ago, and would be refused.
    """

    at = MomentField(label="When", initial=this_minute, show_hidden_initial=True)

    @property
    def moment(self) -> datetime:
        """The aware time to record."""
        return self.cleaned_data["at"] if "at" in self.changed_data else timezone.now()


class RowForm(KitForm):
    """One row of an entry. A row that says no more than its fields' defaults counts for nothing.

    What a view fills in beforehand counts as said: sent back untouched, it is meant.
    """

    mark_optional = False
    #: Fields that are rarely needed, folded away below the others under the words of ``fold_label``.
    folded: ClassVar[tuple[str, ...]] = ()
    fold_label = "More"
    #: A template drawn below the fields.
    note_template = ""

    def has_changed(self):
        return self.is_bound and any(self._said(name, field) for name, field in self.fields.items())

    def visible_fields(self):
        """The fields that are not folded away."""
        return [bound for bound in super().visible_fields() if bound.name not in self.folded]

    @property
    def folded_fields(self) -> list[forms.BoundField]:
        """The fields that are folded away."""
        return [self[name] for name in self.folded]

    @property
    def fold_open(self) -> bool:
        """Whether anything is said there, or is to be mended."""
        return self.is_bound and any(
            self._said(name, self.fields[name]) or self.errors.get(name) for name in self.folded
        )

    def _said(self, name: str, field: forms.Field) -> bool:
        if field.widget.value_omitted_from_data(self.data, self.files, self.add_prefix(name)):
            return False
        default = field.initial() if callable(field.initial) else field.initial
        return field.has_changed(default, self[name].data)


class BaseRows(forms.BaseFormSet):
    """Rows of an entry: one filled at least where ``required``, no lot named twice. ``rows_of`` makes one.

    ``side`` (in, add, out, loss) makes them lines of the running balance; ``lot_field`` is empty where rows have none.
    """

    title = "Lines"
    row_word = "line"
    add_label = "Add a line"
    note = ""
    side = ""
    required = True
    lot_field = "lot"
    default_error_messages: ClassVar = {
        "missing_management_form": _LOST.format("its rows"),
        "too_many_forms": "No more than %(num)d lines fit in one entry. Record the rest in another.",
    }

    def initial_form_count(self):
        # Once sent, rows may have been removed and added: which of them a view had filled in tells nothing.
        return 0 if self.is_bound else super().initial_form_count()

    @property
    def filled(self) -> list[forms.Form]:
        """The rows that say something, in order."""
        return [form for form in self.forms if form.has_changed()]

    @property
    def rows(self) -> list[dict]:
        """Cleaned values of the filled rows."""
        return [form.cleaned_data for form in self.filled]

    @property
    def shown(self) -> list[forms.Form]:
        """Rows that are always drawn: up to the last one that says something, one at least."""
        numbered = enumerate(self.forms, start=1)
        last = max((number for number, form in numbered if form.has_changed() or form.initial), default=1)
        return self.forms[:last]

    @property
    def spare(self) -> list[forms.Form]:
        """Blank rows for a browser without script."""
        drawn = len(self.shown)
        for number, form in enumerate(self.forms[drawn:], start=drawn + 1):
            form.number = number
        return self.forms[drawn:]

    def clean(self):
        if not self.management_form.is_valid():
            return  # said already; the rows that can't be seen are not the fault
        if self.required and not self.filled:
            raise ValidationError(f"Fill in at least one {self.row_word}.", code="too_few")
        self._refuse_twice()

    def _refuse_twice(self):
        seen = {}
        for number, form in enumerate(self.forms, start=1):
            lot = getattr(form, "cleaned_data", {}).get(self.lot_field)
            if not lot:
                continue
            first = seen.setdefault(str(lot).casefold(), number)
            if first != number:
                form.add_error(self.lot_field, f"{lot} stands in {self.row_word} {first} already. Name each lot once.")


def rows_of(row_form: type[RowForm], base: type[BaseRows] = BaseRows, *, extra: int = 3, most: int = 200):
    """A formset class of these rows; ``extra`` blank ones for a browser without script, never more than ``most``."""
    return forms.formset_factory(
        row_form, formset=base, extra=extra, max_num=most, absolute_max=most, validate_max=True, renderer=KitRenderer()
    )
