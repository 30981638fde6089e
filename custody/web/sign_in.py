"""The form at the door."""

from typing import ClassVar

from django import forms
from django.contrib.auth.forms import AuthenticationForm, UsernameField


class SignInForm(AuthenticationForm):
    """Login and password. A closed login answers as an unknown one does: who has left is nobody's to find out."""

    error_messages: ClassVar = {
        "invalid_login": "No open login has this name and password. Type both again; capital letters count.",
        "inactive": "No open login has this name and password. Type both again; capital letters count.",
    }
    username = UsernameField(label="Login", widget=forms.TextInput(attrs={"autofocus": True, "spellcheck": "false"}))
