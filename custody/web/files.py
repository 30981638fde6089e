"""Fields for files: photographs and papers, several at once, told by their bytes; a table in plain text."""

from django import forms
from django.core.exceptions import ValidationError

from custody.errors import AttachmentRule
from custody.queries.attachments import MOST, TYPES, type_of
from custody.web.forms import KitForm

#: No table sent as a file is longer, in bytes.
LONGEST = 1_000_000


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


class TextFileField(forms.FileField):
    """A table in plain text, cleaned to (name, text); None where no file is sent."""

    def clean(self, data, initial=None) -> tuple[str, str] | None:
        sent = super().clean(data, initial)
        if not sent:
            return None
        if sent.size > LONGEST:
            raise ValidationError("The file is longer than 1 MB. Divide it.")
        return sent.name, plain_text(sent.read())


class FileOrLines(KitForm):
    """A table as a file or as its lines, pasted; ``text`` and ``name`` are what came, and empty before."""

    about_all = "file"
    file = TextFileField(label="File", required=False)
    lines = forms.CharField(label="Or its lines", widget=forms.Textarea, required=False, max_length=LONGEST)
    text, name = "", ""

    def clean_file(self):
        sent = self.cleaned_data["file"]
        self.name, self.text = sent or ("", "")
        return sent


def plain_text(content: bytes) -> str:
    """The text of a file. Raises ValidationError for bytes that are none: nothing is guessed from them."""
    try:
        text = content.decode("utf-8")
    except UnicodeDecodeError:
        text = "\0"
    if "\0" in text:
        raise ValidationError("The file is no plain text in UTF-8. Save it as comma-separated text.")
    return text
