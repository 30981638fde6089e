"""The counter's entry: who delivers, on what terms, and every parcel as declared and as weighed."""

from typing import ClassVar

from django import forms

from custody.actions.receive import NewParty, ParcelEntry, Said
from custody.errors import Refusal
from custody.models import Party, User
from custody.queries import counter, scope
from custody.queries.parties import find_party
from custody.queries.trace import find_lot
from custody.staff.counter.fields import DeclaredField
from custody.terms import COUNTER_FORMS, AttachmentKind, Basis, Category, CustodyModel, Form, IdentityKind
from custody.web.files import FilesField
from custody.web.forms import (
    BaseRows,
    CountField,
    CountryField,
    EventForm,
    GramsField,
    RowForm,
    ScanField,
    rows_of,
)
from custody.web.party_code import PartyCodeField
from custody.web.weighing import WeighingFields

#: Parcels of one receipt; more are brought as another.
MOST_PARCELS = 60
BASIS = [
    (Basis.TOLL.value, "toll: stays the party’s"),
    (Basis.PURCHASE.value, "purchase: becomes ours"),
]
#: Origins that are declared at the counter: of mined metal, which kind of mining is said.
ORIGINS = tuple(one for one in Category if one is not Category.MINED)
#: Papers without which nobody was known by a number.
NUMBERED = (IdentityKind.PASSPORT, IdentityKind.CARD, IdentityKind.LICENCE, IdentityKind.PERMIT)


def typed_on() -> forms.TextInput:
    """A text field in which Enter, and so a scanner, moves on."""
    return forms.TextInput(attrs={"data-scan": True, "autocomplete": "off"})


class ReceiptForm(EventForm):
    """Who delivers, for whom, and where it is received. The party is a known one, or entered with the receipt."""

    NEW = ("new_code", "new_name", "new_country")
    RARE = ("place", "slip", "at")
    FILES = ("photographs", "papers", "paper_kind")
    mark_optional = False

    party = forms.CharField(
        label="Party",
        required=False,
        max_length=240,
        widget=forms.TextInput(attrs={"list": "parties", "autocomplete": "off", "data-scan": True, "autofocus": True}),
        help_text="Code or name, as the list offers it.",
    )
    delivered_by = forms.CharField(
        label="Delivered by", max_length=200, widget=typed_on(), help_text="The person at the counter."
    )
    on_behalf_of = forms.CharField(
        label="On behalf of", required=False, max_length=200, widget=typed_on(), help_text="Blank: of the party itself."
    )
    identity_kind = forms.ChoiceField(
        label="Identity seen", required=False, choices=[("", "none"), *IdentityKind.choices()]
    )
    identity_number = forms.CharField(label="Its number", required=False, max_length=60, widget=typed_on())
    basis = forms.ChoiceField(label="Basis", choices=BASIS, initial=Basis.TOLL.value, widget=forms.RadioSelect)
    place = forms.ModelChoiceField(label="Received at", queryset=counter.counters(), empty_label=None)
    slip = ScanField(
        label="Paper slip", required=False, max_length=20, help_text="Entered late: its number, and the time on it."
    )
    photographs = FilesField(label="Photographs", camera=True, help_text="JPEG, PNG, WebP or HEIC, up to 10 MB each.")
    papers = FilesField(label="Papers", help_text="PDF or photographs, up to 10 MB each. More can follow later.")
    paper_kind = forms.ChoiceField(
        label="What the papers are",
        required=False,
        choices=[(one.value, one.label) for one in AttachmentKind if one is not AttachmentKind.PHOTOGRAPH],
        initial=AttachmentKind.OTHER.value,
        help_text="An identity paper is shown only to those who work with it.",
    )
    new_code = PartyCodeField(required=False)
    new_name = forms.CharField(label="Name", required=False, max_length=200, widget=typed_on())
    new_country = CountryField(required=False)
    field_order = (
        "party",
        "delivered_by",
        "on_behalf_of",
        "identity_kind",
        "identity_number",
        "basis",
        "place",
        "slip",
    )

    def __init__(self, *args, viewer: User, **kwargs):
        self.viewer = viewer
        self.delivering: Party | NewParty | None = None
        super().__init__(*args, **kwargs)
        self.fields["place"].initial = counter.counters().first()

    def visible_fields(self):
        """The fields that are always asked for; the others stand apart, in folds."""
        apart = (*self.NEW, *self.RARE, *self.FILES)
        return [bound for bound in super().visible_fields() if bound.name not in apart]

    @property
    def folds(self) -> list[tuple[str, list[forms.BoundField], bool]]:
        """What is not always asked for: words, fields, and whether something is said there already."""
        rare = any(self[name].errors for name in self.RARE) or bool(self["slip"].value())
        moved = self.is_bound and "at" in self.changed_data
        return [
            ("The party is not known yet", [self[name] for name in self.NEW], self.new_said),
            ("Place, time, paper slip", [self[name] for name in self.RARE], rare or moved),
        ]

    @property
    def file_fields(self) -> list[forms.BoundField]:
        """The photographs and papers that come along."""
        return [self[name] for name in self.FILES]

    @property
    def files_open(self) -> bool:
        """Whether files were chosen."""
        return bool(self.files)

    @property
    def files_note(self) -> str:
        """A page that comes back has lost its files: no browser keeps them."""
        return "Choose the files again: a page that comes back has lost them." if self.files else ""

    @property
    def new_said(self) -> bool:
        """Whether anything is typed about a new party: then that part of the page is open."""
        return self.is_bound and any(str(self[name].data or "").strip() for name in self.NEW)

    @property
    def said(self) -> Said:
        """What the action is told of the delivery itself."""
        told = self.cleaned_data
        kind = told["identity_kind"]
        return Said(
            on_behalf_of=told["on_behalf_of"],
            identity_kind=IdentityKind(kind) if kind else None,
            identity_number=told["identity_number"],
            slip=told["slip"],
        )

    def clean(self):
        typed = self.cleaned_data.get("party", "")
        if self.new_said:
            self._clean_new(typed)
        elif not typed:
            self.add_error("party", "Party is missing. Take one from the list, or enter a new one below.")
        else:
            self.delivering = find_party(self.viewer, typed)
            if self.delivering is None:
                sentence = f"There is no one party “{typed[:60]}”. Take one from the list, or enter a new one below."
                self.add_error("party", sentence)
        self._clean_identity()
        if self.cleaned_data.get("slip") and "at" not in self.changed_data:
            self.add_error("at", "A paper slip says when the metal was received. Give the time that is written on it.")

    def _clean_identity(self) -> None:
        kind, number = (self.cleaned_data.get(name, "") for name in ("identity_kind", "identity_number"))
        if number and not kind:
            self.add_error("identity_kind", "A number was seen on a paper. Say which identity paper it was.")
        elif kind in NUMBERED and not number and "identity_number" not in self.errors:
            self.add_error("identity_number", f"The number of the {IdentityKind(kind).label} is missing.")

    def _clean_new(self, typed: str) -> None:
        if typed:
            self.add_error("party", "Either a known party or a new one delivers. Clear one of the two.")
        for name in self.NEW:
            if name not in self.errors and not self.cleaned_data.get(name):
                self.add_error(name, f"{self[name].label} of the new party is missing.")
        if any(name in self.errors for name in self.NEW):
            return
        code, name, country = (self.cleaned_data[name] for name in self.NEW)
        known = scope.parties(self.viewer).filter(name__iexact=name).exclude(code=code).first()
        if known:
            self.add_error("new_name", f"{known.name} is known as {known.code}. Take that party from the list.")
        self.delivering = NewParty(code, name, country)


class ParcelForm(WeighingFields, RowForm):
    """One parcel: what it is, what the scale says, and what is declared of it."""

    must_weigh = True
    #: What a parcel most often shares with the one above it: taken over where a row is added (rows.js).
    CARRIED = ("form", "category", "country", "mine", "scale")
    folded: ClassVar = (
        "declared_ag", "declared_gross", "export_paper", "transport_paper", "description", "custody_model",
        "returned_from",
    )  # fmt: skip
    fold_label = "Silver, declared weight, papers, description"
    note_template = "staff/counter/estimate.html"

    form = forms.ChoiceField(
        label="Form", choices=[(form.value, form.label) for form in COUNTER_FORMS], initial=Form.DORE.value
    )
    category = forms.ChoiceField(
        label="Origin", choices=[("", "choose…"), *((one.value, one.label) for one in ORIGINS)]
    )
    country = CountryField()
    mine = forms.CharField(label="Mine or collector", required=False, max_length=200, widget=typed_on())
    seal = ScanField(label="Bag or seal", required=False, max_length=60)
    pieces = CountField(label="Pieces", what="number of pieces", required=False)
    declared = DeclaredField(metal="Au", label="Declared Au", help_text="18k, 750 or 75 %")
    declared_ag = DeclaredField(metal="Ag", label="Declared Ag", help_text="150 or 15 %")
    declared_gross = GramsField(label="Declared, g", what="declared gross", required=False)
    export_paper = ScanField(label="Export paper", required=False, max_length=120, help_text="Its number.")
    transport_paper = ScanField(label="Transport paper", required=False, max_length=120, help_text="Its number.")
    description = forms.CharField(label="Description", required=False, max_length=300, widget=typed_on())
    custody_model = forms.ChoiceField(
        label="Keep as", choices=CustodyModel.choices(), initial=CustodyModel.MASS_BALANCE.value
    )
    returned_from = ScanField(label="Our bar come back", required=False, help_text="Its serial or lot.")
    field_order = (
        "form", "category", "country", "mine", "scale", "seal", "pieces", "gross", "tare", "declared",
    )  # fmt: skip

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for name in self.CARRIED:
            self.fields[name].widget.attrs["data-carry"] = True
        for name in ("category", "scale"):
            self.fields[name].wide = True  # what a list holds is read whole
        for name in ("seal", "export_paper", "transport_paper", "returned_from"):
            self.fields[name].wide = False

    def has_changed(self):
        """A row that only repeats what was taken over from the row above says nothing."""
        own = any(self._said(name, field) for name, field in self.fields.items() if name not in self.CARRIED)
        return self.is_bound and (own or (super().has_changed() and not self._as_above()))

    def _as_above(self) -> bool:
        rows, _, number = self.prefix.rpartition("-")
        if not number.isdigit() or int(number) == 0:
            return False
        above = f"{rows}-{int(number) - 1}"
        return all(self.data.get(self.add_prefix(name)) == self.data.get(f"{above}-{name}") for name in self.CARRIED)

    def clean(self):
        told = super().clean()
        if told.get("returned_from"):
            self._clean_returned(told)
        return told

    def _clean_returned(self, told: dict) -> None:
        if told.get("form") != Form.BAR:
            self.add_error("form", "A bar of this house that comes back is received as a bar.")
        try:
            told["returned_from"] = find_lot(told["returned_from"]).number
        except Refusal as refusal:
            self.add_error("returned_from", refusal.sentence)

    @property
    def entry(self) -> ParcelEntry:
        """What the action is told of the parcel."""
        told, weighed = self.cleaned_data, self.weighed
        gold, silver = told["declared"], told["declared_ag"]
        return ParcelEntry(
            form=Form(told["form"]),
            scale=weighed.scale,
            gross_mg=weighed.gross_mg,
            tare_mg=weighed.tare_mg,
            gross_reading=weighed.gross_reading,
            tare_reading=weighed.tare_reading,
            category=Category(told["category"]),
            country=told["country"],
            mine=told["mine"],
            pieces=told["pieces"],
            description=told["description"],
            seal=told["seal"],
            declared_gross_mg=told["declared_gross"],
            declared_au_ppm=gold.high_ppm if gold else None,
            declared_ag_ppm=silver.high_ppm if silver else None,
            declared_words=gold.words if gold else "",
            export_paper=told["export_paper"],
            transport_paper=told["transport_paper"],
            custody_model=CustodyModel(told["custody_model"]),
            returned_from=told["returned_from"],
        )


class Parcels(BaseRows):
    title, row_word, add_label = "Parcels", "parcel", "Add a parcel"
    note = "One parcel, one declared origin: it becomes one lot. A blank weight is filled by the scale as it sends one."
    lot_field = ""

    def _refuse_twice(self):
        """No two parcels of a receipt under one seal."""
        seen = {}
        for number, form in enumerate(self.forms, start=1):
            seal = getattr(form, "cleaned_data", {}).get("seal", "").casefold()
            if seal and seen.setdefault(seal, number) != number:
                form.add_error("seal", f"Bag or seal {form.cleaned_data['seal']} is that of parcel {seen[seal]}.")

    def refuse(self, refusal: Exception) -> bool:
        """Says a refusal of a scale or its load at the parcels weighed on it; whether there was one."""
        field, scale = getattr(refusal, "field", ""), getattr(refusal, "detail", {}).get("scale")
        to_mend = [form for form in self.filled if scale and form.cleaned_data.get("scale") == scale]
        for form in to_mend if field in ("scale", "gross") else ():
            form.add_error(field, refusal.sentence)
        return bool(to_mend) and field in ("scale", "gross")

    @property
    def entries(self) -> list[ParcelEntry]:
        """What the action is told of the parcels, in order."""
        return [form.entry for form in self.filled]


ParcelRows = rows_of(ParcelForm, Parcels, extra=3, most=MOST_PARCELS)
