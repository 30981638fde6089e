"""Parts of one lot, by weight: dividing it, and drawing samples from it. Metals follow the gross."""

from custody.actions._post import Posted
from custody.actions.work import Lose, Make, Take, record_step
from custody.calc.apportion import divide
from custody.errors import Refusal
from custody.models import Lot
from custody.staff.entry import Entry
from custody.staff.lines import Choices, Line, Lines, place_field, taken_mg
from custody.terms import METALS, Form, Kind
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
    parts = entry.rows["out"].rows
    lost = [row.lose() for row in entry.rows["loss"].filled]
    masses = [part["gross"] for part in parts] + [loss.gross_mg for loss in lost]
    if sum(masses) > lot.gross_mg:
        raise Refusal("This is more than the lot holds by the book. Weigh again, or correct the book first.")
    if any(mg < 0 for mg in masses):
        raise Refusal("Nothing is found again here: a loss is more than zero.")
    taken = taken_mg(lot, sum(masses))
    shares = [dict(zip(METALS, share, strict=True)) for share in divide(taken[0], taken[1:], masses)]
    fine_of_parts, fine_of_losses = shares[: len(parts)], shares[len(parts) :]
    return record_step(
        kind=kind,
        inputs=[Take(lot.number, taken[0])],
        outputs=[
            Make(form, part["gross"], fine, place=part["place"])
            for part, fine in zip(parts, fine_of_parts, strict=True)
        ],
        losses=tuple(
            Lose(loss.cause, loss.gross_mg, fine, loss.words) for loss, fine in zip(lost, fine_of_losses, strict=True)
        ),
        place=entry.form.cleaned_data["place"],
        **entry.head(),
    )
