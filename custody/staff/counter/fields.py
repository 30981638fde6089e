"""Fields that only the counter has: a declared fineness in any wording."""

from django.core.exceptions import ValidationError

from custody.calc.estimate import Declared, parse_declared
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
