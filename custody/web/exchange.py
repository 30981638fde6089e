"""What both doors show of an exchange of assays: the form by which a result is handed in, and what both come to."""

from collections.abc import Sequence

import django_tables2 as tables
from django import forms

from custody.queries.exchanges import Seen, State
from custody.web.forms import BaseForm, PerMilleField
from custody.web.tables import BaseTable, ResultColumn

STATE_TONES = {
    State.INSIDE: "wait",
    State.TO_UMPIRE: "stop",
    State.UMPIRED: "wait",
    State.ALONE: "wait",
    State.SETTLED: "wait",
    State.VALUED: "good",
}


class ResultForm(BaseForm):
    """One side's result: its laboratory, its paper, and fineness by metal in parts per thousand. It is given once."""

    laboratory = forms.CharField(label="Laboratory", max_length=200)
    reference = forms.CharField(label="Report number", max_length=120, required=False)
    sure = forms.BooleanField(label="This result is final", help_text="Once handed in, it can't be changed.")

    def __init__(self, *args, metals: Sequence[str], asked: Sequence[str], reference: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.metals = metals
        if reference:
            self.fields["reference"].label, self.fields["reference"].required = reference, True
            self.fields["reference"].error_messages["required"] = f"{reference} is missing."
        for metal in metals:
            self.fields[metal] = PerMilleField(
                label=f"{metal}, ‰",
                what=f"fineness of {metal}",
                required=metal in asked,
                zero=True,
                error_messages={"required": f"Give the fineness of {metal}: a splitting limit is agreed for it."},
            )
        self.order_fields(("laboratory", "reference", *metals, "sure"))
        self.fields["sure"].error_messages["required"] = "Confirm that this result is final: it can't be changed later."

    @property
    def ppm(self) -> dict[str, int]:
        """The figures given, ppm by metal; a blank one was not assayed."""
        return {metal: self.cleaned_data[metal] for metal in self.metals if self.cleaned_data.get(metal) is not None}


class ComesToTable(BaseTable):
    """Metal by metal, in parts per thousand."""

    caption = "What the results come to"

    metal = tables.Column("Metal", accessor="exchanged__metal")
    refinery = ResultColumn("Refinery", accessor="exchanged__refinery_ppm")
    customer = ResultColumn("Customer", accessor="exchanged__customer_ppm")
    apart = ResultColumn("Apart", accessor="exchanged__difference_ppm")
    limit = ResultColumn("Limit", accessor="exchanged__limit_ppm")
    umpire = ResultColumn("Umpire", accessor="umpired__umpire_ppm")
    counts = ResultColumn("Counts", accessor="settled_ppm")

    class Meta:
        orderable = False

    def render_apart(self, value, column):
        return column.show(abs(value))


def comes_to(seen: Seen) -> dict[str, object]:
    """For a template: the table of an open exchange and its sentences; metals that nobody found are left out."""
    lines = [line for line in seen.lines if line.worth_saying]
    return {"table": ComesToTable(lines) if lines else None, "sentences": [line.sentence for line in lines]}
