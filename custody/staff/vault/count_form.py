"""The entry of a count: everything is scanned blind, then told against the book, and two people sign.

Who counts does not see what the book has there until the scanning is done: nobody ticks off what is not in the hand.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from django import forms

from custody.actions.vault import Stray
from custody.models import Lot, User
from custody.queries import boxes
from custody.roles import Verb
from custody.staff.vault.access import SecondPersonForm
from custody.terms import Form
from custody.web.lot_field import lots_by_code

#: So many labels fit in one count, and so long is a label at most.
MOST, LONGEST = 5000, 60


@dataclass(frozen=True, slots=True)
class StrayTold:
    """What was scanned and does not stand here by the book: the lot that it names, if any, and words."""

    code: str
    lot: Lot | None

    @property
    def words(self) -> str:
        """Where the book has it."""
        if self.lot is None:
            return "The book knows no such lot, bar or box."
        if not self.lot.gross_mg:
            return f"Lot {self.lot.number} is empty by the book: it was worked or has left."
        return f"Lot {self.lot.number}: by the book at {self.lot.place}, held by {self.lot.custodian}."

    def as_stray(self) -> Stray:
        """What is recorded of it."""
        known = self.lot is not None and self.lot.gross_mg > 0  # then its place and holder are kept, not words
        return Stray(self.code, self.lot.number if self.lot else "", "" if known else self.words)


@dataclass(slots=True)
class Tally:
    """What was scanned, against what the book has at the place: ``found`` tells how, by lot."""

    lots: list[Lot]
    found: dict[Lot, str] = field(default_factory=dict)
    strays: list[StrayTold] = field(default_factory=list)
    several: list[str] = field(default_factory=list)

    @property
    def missing(self) -> list[Lot]:
        """Lots that were not scanned."""
        return [lot for lot in self.lots if lot not in self.found]

    @property
    def missing_mg(self) -> int:
        """Their gross by the book."""
        return sum(lot.gross_mg for lot in self.missing)


def labels_of(lots: Iterable[Lot]) -> dict[str, list[Lot]]:
    """What labels say, in capitals: a lot's number, a bar's serial, the vessel of a content; with their lots."""
    found: dict[str, list[Lot]] = {}
    for lot in lots:
        bar = getattr(lot, "bar", None)
        vessel = lot.place.code if lot.form == Form.IN_PROCESS else ""
        for code in {lot.number.upper(), bar.serial.upper() if bar else "", vessel.upper()} - {""}:
            found.setdefault(code, []).append(lot)
    return found


def tally_of(codes: list[str], lots: list[Lot], viewer: User) -> Tally:
    """Every code that was scanned against the lots that the book has at the place."""
    tally, here = Tally(lots), labels_of(lots)
    unknown = [code for code in codes if code.upper() not in here]
    packed = boxes.unboxed(unknown, viewer)
    others = lots_by_code((code for code in unknown if code not in packed), viewer)
    for code in codes:
        named = here.get(code.upper(), [])
        if len(named) > 1:
            tally.several.append(code)
        elif named:
            tally.found.setdefault(named[0], "")
        elif code in packed:
            _unpack(tally, code, packed[code])
        else:
            tally.strays.append(StrayTold(code, others.get(code)))
    return tally


def _unpack(tally: Tally, code: str, inside: list[Lot]) -> None:
    """A box is counted by its seal; a bar of it that the book has elsewhere is a stray."""
    here = set(tally.lots)
    for lot in inside:
        if lot in here:
            tally.found.setdefault(lot, f"in closed box {code}")
        else:
            tally.strays.append(StrayTold(code, lot))


class CountForm(SecondPersonForm):
    """What was scanned, one label a line; ``told`` once the scanning was done and the book was compared."""

    verb = Verb.COUNT
    meaning = "Counted together"
    field_order = ("scanned", "note", "at")

    scanned = forms.CharField(
        label="Scan here",
        required=False,
        widget=forms.Textarea(
            attrs={"class": "mark", "rows": 5, "autocomplete": "off", "autocapitalize": "off", "spellcheck": "false"}
            | {"data-count": True}
        ),
        help_text="Each label on a line of its own: lots, bars, vessels, closed boxes by number or seal.",
    )
    note = forms.CharField(label="Note", required=False, max_length=300)
    told = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args, lots: list[Lot], **kwargs):
        super().__init__(*args, **kwargs)
        self.lots = lots
        self.tally: Tally | None = None
        self.fields["scanned"].asked = True  # blank where nothing stands there, but never said to be optional
        for lot in lots:
            missing = forms.CharField(label=f"What is known of {lot.number}", required=False, max_length=200)
            missing.asked = missing.wide = True
            self.fields[f"missing_{lot.pk}"] = missing

    def clean_scanned(self) -> list[str]:
        """Codes in their order, each once: a label that is scanned twice is one thing."""
        seen: dict[str, str] = {}
        for line in self.cleaned_data["scanned"].splitlines():
            code = " ".join(line.split())
            if len(code) > LONGEST or "\0" in code:
                raise forms.ValidationError(f"“{code[:20]}…” is no label. Scan one label a line.")
            if code:
                seen.setdefault(code.upper(), code)
        if len(seen) > MOST:
            raise forms.ValidationError(f"No more than {MOST} labels fit in one count. Count the place in parts.")
        return list(seen.values())

    def compare(self, viewer: User) -> Tally:
        """What was scanned against the book; a serial that names several bars here is refused."""
        self.tally = tally_of(self.cleaned_data["scanned"], self.lots, viewer)
        for code in self.tally.several:
            self.add_error("scanned", f"{code} names several bars here: scan the labels of their lots.")
        return self.tally

    def ask_missing(self) -> Mapping[str, str]:
        """What is known of each lot that was not found; where nothing is said, it is asked."""
        said = {lot: self.cleaned_data[f"missing_{lot.pk}"].strip() for lot in self.tally.missing}
        for lot, words in said.items():
            if not words:
                self.add_error(
                    f"missing_{lot.pk}", f"Lot {lot.number} was not scanned. Look for it, or say what is known."
                )
        return {lot.number: words for lot, words in said.items()}

    @property
    def own_fields(self) -> list[forms.BoundField]:
        """What stands above the list."""
        return [self[name] for name in ("scanned", "note", "at")]

    @property
    def missing_fields(self) -> list[forms.BoundField]:
        """What is known of each lot that was not scanned, once the book was compared."""
        return [self[f"missing_{lot.pk}"] for lot in self.tally.missing] if self.tally else []
