"""The code of a party as it is entered by hand."""

from django import forms


class PartyCodeField(forms.RegexField):
    """Short, for lists and labels; nothing that an address or a label cannot carry."""

    def __init__(self, **kwargs):
        told = {
            "label": "Code",
            "max_length": 30,
            "help_text": "Short, for lists and labels: P-17. It never changes.",
            "error_messages": {"invalid": "A code has no spaces and no / ? # %% or \\. Write it like P-17."},
        }
        super().__init__(r"^[^\s/?#%\\]{1,30}\Z", **told | kwargs)
