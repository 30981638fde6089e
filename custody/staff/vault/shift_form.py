"""The entry of a shift handover: every lot of the list is ticked, weighed, or said not to be found."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

from django import forms

from custody.actions._sign import Signature, countersign
from custody.actions.move import Passing
from custody.errors import Refusal
from custody.models import Box, Lot, User
from custody.queries.boxes import closed_boxes_of, unboxed
from custody.roles import Verb
from custody.staff.vault.forms import PassingRow, PassingRows, scale_field
from custody.terms import Form, NotWeighed
from custody.web.countersign import CountersignForm, login_of, password_of
from custody.web.forms import rows_of
from custody.web.lot_field import lots_by_code
from custody.web.lot_list import LotListField
from custody.web.weighing import Scales

#: What the other person's signature means; it stands for the whole list.
MEANING = "Shift handover"
#: So many lots are named in a sentence; the rows say it of each.
NAMED = 5


@dataclass(frozen=True, slots=True)
class Line:
    """One lot of the list, whether it is ticked, and the closed box that it lies in."""

    lot: Lot
    ticked: bool
    box: Box | None = None

    @property
    def codes(self) -> str:
        """What its labels say: its number, a bar's serial, its box and seal, a content's vessel; for the script."""
        bar = getattr(self.lot, "bar", None)
        vessel = self.lot.place.code if self.lot.form == Form.IN_PROCESS else ""
        box = (self.box.number, self.box.seal) if self.box else ()
        return "\n".join(code.upper() for code in (self.lot.number, bar.serial if bar else "", vessel, *box) if code)

    @property
    def seal(self) -> str:
        """The seal or bag that it lies under."""
        if self.box:
            return f"{self.box.seal}, box {self.box}"
        for side in ("parcel", "sample"):
            found = getattr(getattr(self.lot, side, None), "seal", "")
            if found:
                return found
        return ""


class ShiftForm(CountersignForm):
    """Everything that one person answers for at some places passes to another. ``lots`` is the list that is shown."""

    SIGNED: ClassVar = ("signer", "signer_password")

    note = forms.CharField(label="Note", required=False, max_length=300)
    scanned = LotListField(
        label="Scan here",
        required=False,
        help_text="One label after the other: a lot, a bar, a box or its seal, a run's vessel; it is ticked below.",
    )

    def __init__(self, *args, lots: Iterable[Lot], other: str, scales: Scales, scale: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.lots = list(lots)
        self.numbers = {lot.number: lot for lot in self.lots}
        self.boxes = closed_boxes_of(self.lots)
        self.fields["scale"] = scale_field(scales, scale)
        self.fields["signer"] = login_of(other)
        self.fields["signer_password"] = password_of(other)
        for name in self.SIGNED:
            self.fields[name].required = True
            self.fields[name].error_messages["required"] = f"{self.fields[name].label} is missing: both sign."
        self.fields["scanned"].widget.attrs["data-tick"] = True
        self.ticked = set(self.data.getlist("seen")) & set(self.numbers) if self.is_bound else set()
        for lot in self.lots:
            self.fields[f"missing_{lot.pk}"] = forms.CharField(
                label=f"Why {lot.number} was not found", required=False, max_length=300
            )
            self.fields[f"missing_{lot.pk}"].asked = True

    @property
    def head_fields(self) -> list[forms.BoundField]:
        """What stands above the list."""
        return [self[name] for name in ("at", "note", "scale", "scanned")]

    @property
    def signed_fields(self) -> list[forms.BoundField]:
        """The other person's credentials."""
        return [self[name] for name in self.SIGNED]

    @property
    def lines(self) -> list[Line]:
        """The list, lots first and runs after them, as they stand after the last try."""
        return [Line(lot, lot.number in self.ticked, self.boxes.get(lot.pk)) for lot in self.lots]

    @property
    def missing_fields(self) -> list[forms.BoundField]:
        """Why each lot that was not scanned was not found; nothing before the first try."""
        unticked = [lot for lot in self.lots if self.is_bound and lot.number not in self.ticked]
        return [self[f"missing_{lot.pk}"] for lot in unticked]

    def tick_scanned(self, viewer: User) -> None:
        """Ticks what was typed as numbers, as a page without script sends it; what is not on the list is said."""
        codes = self.cleaned_data.get("scanned") or []
        vessels = {lot.place.code.upper(): lot for lot in self.lots if lot.form == Form.IN_PROCESS}
        found = lots_by_code(codes, viewer)
        boxed = unboxed([code for code in codes if code not in found], viewer)
        for code in codes:
            self.ticked |= {lot.number for lot in boxed.get(code, ())} & set(self.numbers)
            lot = vessels.get(code.upper()) or found.get(code) or next(iter(boxed.get(code, ())), None)
            if lot is None:
                self.add_error("scanned", f"There is no lot {code}. Check the number, or scan the label.")
            elif lot.number not in self.numbers:
                where = f"is with {lot.custodian} at {lot.place}" if lot.gross_mg else "is empty"
                self.add_error("scanned", f"Lot {lot.number} is not on this list: by the book it {where}.")
            else:
                self.ticked.add(lot.number)

    def passings(self, weighed: dict[str, Passing]) -> list[Passing]:
        """How each lot of the list passes: weighed, seen, or not found, and then it says why, or it is asked."""
        found = []
        for lot in self.lots:
            if lot.number in weighed:
                found.append(weighed[lot.number])
            elif lot.number in self.ticked:
                content = lot.form == Form.IN_PROCESS
                found.append(Passing(lot.number, not_weighed=None if content else NotWeighed.SHIFT))
            else:
                why = self.cleaned_data[f"missing_{lot.pk}"]
                found.append(Passing(lot.number, not_weighed=NotWeighed.MISSING, explanation=why, seen=False))
        unsaid = [one.lot for one in found if one.not_weighed == NotWeighed.MISSING and not one.explanation.strip()]
        if unsaid:
            self._ask_for(unsaid)
        return found

    def _ask_for(self, numbers: list[str]) -> None:
        named = ", ".join(numbers[:NAMED]) + (f" and {len(numbers) - NAMED} more" if len(numbers) > NAMED else "")
        self.add_error(
            "scanned",
            f"Not scanned: {named}. Scan what is there. What is not found stays with who gives: say why of each below.",
        )

    def other_signature(self, request) -> Signature:
        """The other person's signature. Raises ``Refusal`` about the field ``signer``."""
        try:
            return countersign(
                username=self.cleaned_data["signer"],
                password=self.cleaned_data["signer_password"],
                meaning=MEANING,
                verb=Verb.HAND_OVER,
                request=request,
            )
        except Refusal as refusal:
            refusal.field = "signer"
            raise


class WeighedRows(PassingRows):
    """Lots of the list that are weighed as they pass."""

    title = "Weighed on the way"
    note = "Scan a lot of the list and weigh it; the others pass seen and scanned."


WeighedRowSet = rows_of(PassingRow, WeighedRows, extra=3)
