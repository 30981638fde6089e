"""Entries of the people desk."""

from django import forms
from django.contrib.auth.password_validation import validate_password

from custody.models import Party, User
from custody.terms import Role
from custody.web.forms import BaseForm

#: A role of staff; a customer is one from the first day, by its party, and nothing else ever.
STAFF_ROLES = [(role.value, role.label) for role in Role if role != Role.CUSTOMER]


class RolesForm(BaseForm):
    """The roles of a person, and whether the login is open. A customer's login is only opened or closed.

    ``seen`` carries what was there when the page was opened, so that nobody overwrites another's change unseen.
    """

    mark_optional = False

    seen = forms.JSONField(widget=forms.HiddenInput)
    roles = forms.MultipleChoiceField(
        label="Roles", choices=STAFF_ROLES, required=False, widget=forms.CheckboxSelectMultiple
    )
    active = forms.BooleanField(
        label="The login is open", required=False, help_text="Who leaves keeps the name in the book, and no way in."
    )

    def __init__(self, *args, person: User, **kwargs):
        roles = sorted(person.roles)
        initial = {"roles": roles, "active": person.is_active, "seen": [roles, person.is_active]}
        super().__init__(*args, initial=initial, **kwargs)
        self.customer = person.party_id is not None
        if self.customer:
            del self.fields["roles"]

    def clean_seen(self):
        try:
            roles, active = self.cleaned_data["seen"]
            return frozenset(map(Role, roles)), bool(active)
        except (TypeError, ValueError) as error:
            raise forms.ValidationError("The page lost what it showed. Open it again.") from error

    @property
    def roles_chosen(self) -> list[Role]:
        return [Role.CUSTOMER] if self.customer else [Role(role) for role in self.cleaned_data["roles"]]


class PersonForm(BaseForm):
    """A new person with a login of their own."""

    full_name = forms.CharField(label="Full name", max_length=120)
    username = forms.CharField(
        label="Login",
        max_length=60,
        help_text="Small letters, digits and hyphens; never shared by two people.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}),
    )
    password = forms.CharField(
        label="First password",
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="Hand it over in person.",
    )
    roles = forms.MultipleChoiceField(
        label="Roles", choices=STAFF_ROLES, required=False, widget=forms.CheckboxSelectMultiple
    )
    party = forms.ModelChoiceField(
        label="Customer of",
        queryset=Party.objects.none(),
        required=False,
        empty_label="nobody: works here",
        help_text="A customer sees its own deliveries and papers, and has no role in the house.",
    )

    mark_optional = False
    field_order = ("full_name", "username", "password", "party", "roles")

    def __init__(self, *args, parties, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["party"].queryset = parties

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("password"):
            first, _, last = cleaned.get("full_name", "").partition(" ")
            person = User(username=cleaned.get("username", ""), first_name=first, last_name=last)
            try:
                validate_password(cleaned["password"], person)
            except forms.ValidationError as error:
                self.add_error("password", error)
        if cleaned.get("party") and cleaned.get("roles"):
            self.add_error("roles", "A customer has no role in the house: untick them, or leave the party out.")
        elif not cleaned.get("party") and not cleaned.get("roles") and "roles" not in self.errors:
            self.add_error("roles", "Give at least one role, or name the party that this person is a customer of.")
        return cleaned

    @property
    def roles_chosen(self) -> list[Role]:
        customer = self.cleaned_data["party"] is not None
        return [Role.CUSTOMER] if customer else [Role(role) for role in self.cleaned_data["roles"]]
