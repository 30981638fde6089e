"""Fields that only the counter has: a declared fineness in any wording, and several files at once."""

from django import forms
from django.core.exceptions import ValidationError

from custody.calc.estimate import Declared, parse_declared
from custody.errors import AttachmentRule
from custody.queries.attachments import MOST, TYPES, type_of
from custody.web.forms import ScanField


class DeclaredField(ScanField):
    """A declared fineness as it is said: ``18k``, ``750``, ``75 %``; cleaned to ``Declared``, ``None`` when blank."""

    wide = False

    def __init__(self, *, metal: str, **kwargs):
        self.metal = metal
        self.what = f"declared fineness of {metal}"
        super().__init__(max_length=40, required=False, **kwargs)

    def widget_attrs(self, widget):
        return super().widget_attrs(widget) | {"class": "figure"}

    def to_python(self, value) -> Declared | None:
        text = super().to_python(value)
        if not text:
            return None
        try:
            return parse_declared(text, metal=self.metal, what=self.what)
        except ValueError as error:
            raise ValidationError(str(error), code="unreadable") from error

    def run_validators(self, value):
        """What was read is no text any more."""


class _Files(forms.FileInput):
    allow_multiple_selected = True
    #: A form that comes back with faults comes back without its files: no browser sends them twice.
    needs_multipart_form = True


class FilesField(forms.FileField):
    """Photographs or papers, cleaned to a list of (name, bytes), told by their bytes; ``camera`` opens a tablet's."""

    widget = _Files
    wide = True

    def __init__(self, *, camera: bool = False, **kwargs):
        self.camera = camera
        super().__init__(required=False, **kwargs)

    def widget_attrs(self, widget):
        accepted = [kind for kind in TYPES if not self.camera or kind.startswith("image/")]
        return {"accept": ",".join(accepted)} | ({"capture": "environment"} if self.camera else {})

    def clean(self, data, initial=None) -> list[tuple[str, bytes]]:
        sent = data if isinstance(data, list) else [data] if data else []
        if len(sent) > MOST:
            raise ValidationError(f"A receipt takes {MOST} attachments, not {len(sent)}. Choose fewer.")
        found = []
        for file in sent:
            content = file.read()
            try:
                type_of(content, file.name)
            except AttachmentRule as refusal:
                raise ValidationError(refusal.sentence, code="attachment") from refusal
            found.append((file.name, content))
        return found

    def has_changed(self, initial, data):
        return bool(data)
