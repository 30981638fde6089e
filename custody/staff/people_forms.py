"""Entries of the people desk."""

from django import forms
from django.contrib.auth.password_validation import validate_password

from custody.models import Party, User
from custody.terms import Role
from custody.web.forms import BaseForm


class RolesForm(BaseForm):
    """The roles of a person, and whether the login is open."""

    roles = forms.MultipleChoiceField(
        label="Roles", choices=Role.choices(), required=False, widget=forms.CheckboxSelectMultiple
    )
    active = forms.BooleanField(label="The login is open", required=False)

    def roles_chosen(self) -> list[Role]:
        return [Role(role) for role in self.cleaned_data["roles"]]


class PersonForm(BaseForm):
    """A new person with a login of their own."""

    full_name = forms.CharField(label="Full name", max_length=120)
    username = forms.SlugField(
        label="Login", max_length=60, help_text="Small letters, digits and hyphens; never shared by two people."
    )
    password = forms.CharField(
        label="First password",
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="Hand it over in person.",
    )
    roles = forms.MultipleChoiceField(label="Roles", choices=Role.choices(), widget=forms.CheckboxSelectMultiple)
    party = forms.ModelChoiceField(
        label="Party", queryset=Party.objects.none(), required=False, help_text="For a customer's login only."
    )

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
        return cleaned

    def roles_chosen(self) -> list[Role]:
        return [Role(role) for role in self.cleaned_data["roles"]]
