"""An entry shown again with everything typed in it kept and no fault said, because the person only asked something."""

from django.forms.utils import ErrorDict, ErrorList


class Keeps:
    """A form that can be ``quiet``: it still knows what it read, and says nothing of what it could not."""

    quiet = False

    @property
    def errors(self):
        found = super().errors
        return ErrorDict() if self.quiet else found


class KeepsRows:
    """Rows of such forms."""

    quiet = False

    def hush(self) -> None:
        """Say nothing of any row."""
        self.quiet = True
        for form in self.forms:
            form.quiet = True

    def non_form_errors(self):
        found = super().non_form_errors()
        return ErrorList() if self.quiet else found
