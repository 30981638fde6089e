"""What is asked of prices: which to show, one entered by hand, a file of them, a second person's word, a limit."""

from base64 import b64decode, b64encode
from binascii import Error as NoBase64
from datetime import timedelta

from django import forms
from django.core.exceptions import ValidationError
from django.utils import timezone

from custody.calc.price_table import LONGEST_FIXING, LONGEST_SOURCE
from custody.staff.settlement.forms import UNITS
from custody.terms import METALS
from custody.web.files import LONGEST, FileOrLines, plain_text
from custody.web.forms import BaseForm, DayField, KitForm, PercentField
from custody.web.price_field import PriceField

#: So many days are shown where nobody asked for others.
SHOWN_DAYS = 90
_EVERY_METAL = [(metal, metal) for metal in METALS]


def _words(most: int, **more) -> forms.CharField:
    return forms.CharField(max_length=most, widget=forms.TextInput(attrs={"autocomplete": "off"}), **more)


class PriceFilter(KitForm):
    """Which prices to show; blank asks for all."""

    mark_optional = False

    metal = forms.ChoiceField(label="Metal", required=False)
    currency = forms.ChoiceField(label="Currency", required=False)
    fixing = forms.ChoiceField(label="Fixing", required=False)
    first = DayField(label="From", required=False)
    last = DayField(label="To", required=False)

    def __init__(self, *args, named: dict[str, list[str]], **kwargs):
        super().__init__(*args, **kwargs)
        for name, words in named.items():
            self.fields[name].choices = [("", "every one"), *((word, word) for word in words)]

    def clean(self):
        first, last = self.cleaned_data.get("first"), self.cleaned_data.get("last")
        if first and last and last < first:
            self.add_error("last", f"The span ends before it begins. Give a day from {first} on.")

    @property
    def narrowed(self) -> dict:
        """What is asked, as columns; what can't be read asks nothing."""
        said = self.cleaned_data
        columns = {name: said[name] for name in ("metal", "currency", "fixing") if said.get(name)}
        days = {"day__gte": said.get("first"), "day__lte": said.get("last")}
        return columns | {name: day for name, day in days.items() if day}


def last_days() -> dict:
    """The span that is shown where nobody asked for another."""
    today = timezone.localdate()
    return {"first": today - timedelta(days=SHOWN_DAYS), "last": today}


class PriceForm(BaseForm):
    """One price, by hand."""

    metal = forms.ChoiceField(label="Metal", choices=_EVERY_METAL)
    currency = _words(10, label="Currency", help_text="Three letters, like USD.")
    fixing = _words(LONGEST_FIXING, label="Fixing", help_text="In plain words: morning, afternoon, daily.")
    day = DayField(label="Day", initial=timezone.localdate)
    amount = PriceField(what="price", label="Price")
    per = forms.ChoiceField(label="per", choices=UNITS)
    source = _words(LONGEST_SOURCE, label="Source", help_text="Where it was read.")
    reason = _words(
        300,
        label="Reason",
        required=False,
        help_text="Where it replaces a price of that day: what was wrong. The other stays in the record.",
    )
    source.wide = reason.wide = True


class PriceFileForm(FileOrLines):
    """A file of prices, or its lines pasted. ``text`` is what is read, ``name`` where it is from.

    A file goes back to the page byte by byte in ``kept``, for no browser sends it twice, and a text field would change
    its line ends and with them its SHA-256.
    """

    mark_optional = False

    reason = _words(
        300, label="Reason", required=False, help_text="Where prices of the file replace others: what was wrong."
    )
    reason.wide = True
    kept = forms.CharField(widget=forms.HiddenInput, required=False, max_length=LONGEST * 2)
    kept_name = forms.CharField(widget=forms.HiddenInput, required=False, max_length=200)
    seen = forms.CharField(widget=forms.HiddenInput, required=False, max_length=64)

    def clean(self):
        said = super().clean()
        if self.errors:
            return said
        if not self.text and said["lines"].strip():
            self.text, self.name = said["lines"], "pasted"
        elif not self.text and said["kept"]:
            self.text, self.name = self._kept(said["kept"]), said["kept_name"]
        if not self.text.strip():
            self.add_error("file", "Choose a file, or paste its lines.")
        return said

    @property
    def carried(self) -> dict[str, str]:
        """The file for the page that shows what it would record; lines that were pasted stand there anyway."""
        if self.name == "pasted" or not self.text:
            return {}
        return {"kept": b64encode(self.text.encode()).decode(), "kept_name": self.name}

    def _kept(self, text: str) -> str:
        try:
            return plain_text(b64decode(text, validate=True))
        except (NoBase64, ValidationError):
            self.add_error("file", "The page lost its file. Choose it again.")
            return ""


class ConfirmForm(KitForm):
    """A second person's word about the prices that are ticked."""

    note = _words(300, label="How you know", help_text="Like: read again on the sheet of that day.")
    note.wide = True


class LimitForm(BaseForm):
    """How far a metal's price may jump, from a date on."""

    metal = forms.ChoiceField(label="Metal", choices=_EVERY_METAL)
    jump_ppm = PercentField(label="Doubtful from more than, %", what="limit")
    valid_from = DayField(label="For days from", initial=timezone.localdate)
    note = _words(300, label="Why", required=False)
