"""Fields for photographs and papers: several files at once, told by their bytes."""

from django import forms
from django.core.exceptions import ValidationError

from custody.errors import AttachmentRule
from custody.queries.attachments import MOST, TYPES, type_of


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
