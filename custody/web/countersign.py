"""The part of an entry in which a second person signs beside the first. It is shown once the book asks for it."""

from typing import ClassVar

from django import forms
from django.http import HttpRequest

from custody.actions._sign import Signature, countersign
from custody.errors import Refusal
from custody.web.forms import EventForm

#: The field that refusals about a countersignature name.
ASKED = "countersign"


def login_of(person: str) -> forms.CharField:
    """A field for another person's login, beside whoever is signed in; the browser must not fill it in."""
    return forms.CharField(
        label=f"{person}'s login",
        required=False,
        max_length=150,
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )


def password_of(person: str) -> forms.CharField:
    """A field for that person's password; it is never sent back to the page."""
    return forms.CharField(
        label=f"{person}'s password",
        required=False,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "off"}),
        help_text="Typed by that person, every time anew.",
    )


class CountersignForm(EventForm):
    """An entry of an event that may need a countersignature.

    ``always`` shows the part from the start. The password is never sent back to the page.
    """

    always = False
    COUNTERSIGN: ClassVar = ("countersigner", "countersign_password", "countersign_meaning")

    countersigner = login_of("Second person")
    countersign_password = password_of("Second person")
    countersign_meaning = forms.CharField(
        label="What the signature means",
        required=False,
        max_length=200,
        help_text="Like: weighed again together, the loss is real.",
    )

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.asked = self.always
        for name in self.COUNTERSIGN:
            self.fields[name].asked = True  # blank until the book asks, but never said to be optional

    def visible_fields(self):
        """The fields of the entry itself; those of the second person stand apart, below the balance."""
        return [bound for bound in super().visible_fields() if bound.name not in self.COUNTERSIGN]

    @property
    def countersign_fields(self) -> list[forms.BoundField]:
        """The second person's fields, once they are asked for or something is typed in them."""
        said = self.asked or any(self[name].data for name in self.COUNTERSIGN if self.is_bound)
        return [self[name] for name in self.COUNTERSIGN] if said else []

    def signature(self, request: HttpRequest) -> Signature | None:
        """The second person's signature; None where none was given. Failed tries are throttled.

        Raises ``Refusal`` about the field ``countersign``.
        """
        username, password, meaning = (self.cleaned_data.get(name, "") for name in self.COUNTERSIGN)
        if not (username or password or meaning):
            return None
        try:
            return countersign(username=username, password=password, meaning=meaning, request=request)
        except Refusal as refusal:
            refusal.field = ASKED
            raise

    def refuse(self, refusal: Exception) -> None:
        """As every entry; a refusal about the countersignature opens its part of the page."""
        if getattr(refusal, "field", "") == ASKED:
            self.asked = True
            self.add_error(self.COUNTERSIGN[0], refusal.sentence)
        else:
            super().refuse(refusal)
