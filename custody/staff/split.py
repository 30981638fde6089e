"""Parts of one lot, by weight: dividing it. Metals follow the gross."""

from custody.actions._post import Posted
from custody.actions._steps import split
from custody.actions.work import Make, record_step
from custody.models import Lot
from custody.staff.entry import Entry
from custody.staff.lines import Choices, Line, Lines, place_field
from custody.terms import Form, Kind
from custody.web.forms import GramsField, rows_of


class Part(Line):
    """One part, which becomes a lot of its own."""

    silent = frozenset({"place"})
    gross = GramsField(metal="gross")

    def __init__(self, *args, places: Choices = (), **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["place"] = place_field("where the lot stands", places)


class Parts(Lines):
    title, row_word, add_label, side, lot_field = "Parts", "part", "Add a part", "out", ""
    note = "Each part becomes a lot of its own, with its share of every metal. The rest stays under the lot's number."


PartRows = rows_of(Part, Parts)


def record_split(entry: Entry, kind: Kind, lot: Lot, form: Form) -> Posted:
    """Takes the parts (rows ``out``) and what is lost with them (rows ``loss``) from the lot; the rest stays.

    Raises ``Refusal``.
    """
    parts = split(
        lot,
        [Make(form, part["gross"], place=part["place"]) for part in entry.rows["out"].rows],
        [row.lose() for row in entry.rows["loss"].filled],
    )
    return record_step(
        kind=kind,
        inputs=[parts.take],
        outputs=parts.outputs,
        losses=tuple(parts.losses),
        place=entry.form.cleaned_data["place"],
        **entry.head(),
    )
