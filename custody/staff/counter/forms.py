"""The counter's entry: who delivers, on what terms, and every parcel as declared and as weighed."""

from django import forms

from custody.actions.receive import NewParty, ParcelEntry
from custody.calc.fineness import karat_mark_ppm
from custody.errors import Refusal
from custody.models import Party, User
from custody.queries import counter, scope
from custody.queries.parties import find_party
from custody.queries.trace import find_lot
from custody.terms import COUNTER_FORMS, Basis, Category, CustodyModel, Form
from custody.web.forms import (
    BaseRows,
    CountField,
    CountryField,
    EventForm,
    GramsField,
    PerMilleField,
    RowForm,
    ScanField,
    rows_of,
)
from custody.web.party_code import PartyCodeField

#: Parcels of one receipt; more are brought as another.
MOST_PARCELS = 60
BASIS = [
    (Basis.TOLL.value, "toll: stays the party’s"),
    (Basis.PURCHASE.value, "purchase: becomes ours"),
]


class KaratField(CountField):
    """Whole karats, cleaned to the fineness in ppm that such an article is marked with; ``None`` when blank."""

    what = "karat"

    def parse(self, text: str) -> int:
        return karat_mark_ppm(super().parse(text))


class ReceiptForm(EventForm):
    """Who delivers, to whom it belongs, where it is received. The party is a known one, or entered with the receipt."""

    NEW = ("new_code", "new_name", "new_country")
    mark_optional = False

    party = forms.CharField(
        label="Party",
        required=False,
        max_length=240,
        widget=forms.TextInput(attrs={"list": "parties", "autocomplete": "off", "data-scan": True, "autofocus": True}),
        help_text="Code or name, as the list offers it.",
    )
    delivered_by = forms.CharField(label="Delivered by", max_length=200, help_text="The person at the counter.")
    basis = forms.ChoiceField(label="Basis", choices=BASIS, initial=Basis.TOLL.value, widget=forms.RadioSelect)
    place = forms.ModelChoiceField(label="Received at", queryset=counter.counters(), empty_label=None)
    new_code = PartyCodeField(required=False)
    new_name = forms.CharField(label="Name", required=False, max_length=200)
    new_country = CountryField(required=False)
    field_order = ("party", "delivered_by", "place", "at", "basis")

    def __init__(self, *args, viewer: User, **kwargs):
        self.viewer = viewer
        self.delivering: Party | NewParty | None = None
        super().__init__(*args, **kwargs)
        self.fields["place"].initial = counter.counters().first()

    def visible_fields(self):
        """The fields of the receipt itself; those of a new party stand apart."""
        return [bound for bound in super().visible_fields() if bound.name not in self.NEW]

    @property
    def new_fields(self) -> list[forms.BoundField]:
        """The fields of a party that is not known yet."""
        return [self[name] for name in self.NEW]

    @property
    def new_said(self) -> bool:
        """Whether anything is typed about a new party: then that part of the page is open."""
        return self.is_bound and any(str(self[name].data or "").strip() for name in self.NEW)

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


class ParcelForm(RowForm):
    """One parcel: what it is, what the scale says, and what is declared of it."""

    form = forms.ChoiceField(
        label="Form", choices=[(form.value, form.label) for form in COUNTER_FORMS], initial=Form.DORE.value
    )
    gross = GramsField(metal="gross")
    tare = GramsField(label="Tare, g", what="tare", zero=True, required=False, help_text="Blank: no container.")
    scale = forms.CharField(
        label="Scale", max_length=60, widget=forms.TextInput(attrs={"list": "scales", "data-scan": True})
    )
    pieces = CountField(label="Pieces", what="number of pieces", required=False)
    seal = forms.CharField(label="Seal", required=False, max_length=60)
    category = forms.ChoiceField(
        label="Origin", choices=[("", "choose…"), *((one.value, one.label) for one in Category)]
    )
    country = CountryField()
    mine = forms.CharField(label="Mine or source", required=False, max_length=200)
    declared_gross = GramsField(label="Declared, g", what="declared gross", required=False)
    declared_ppm = PerMilleField(label="Declared Au, ‰", what="declared fineness", required=False)
    declared_karat = KaratField(label="or karat", required=False)
    custody_model = forms.ChoiceField(
        label="Keep as", choices=CustodyModel.choices(), initial=CustodyModel.MASS_BALANCE.value
    )
    returned_from = ScanField(label="Our bar come back", required=False, help_text="Its serial or lot.")
    description = forms.CharField(label="Description", required=False, max_length=300)

    def __init__(self, *args, scale: str = "", **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["scale"].initial = scale
        self.fields["tare"].widget.attrs["data-tare"] = True

    def clean(self):
        told = self.cleaned_data
        if told.get("gross") and (told.get("tare") or 0) >= told["gross"]:
            self.add_error("tare", "The tare is not less than the gross. Weigh both again.")
        if told.get("declared_ppm") is not None and told.get("declared_karat") is not None:
            self.add_error("declared_karat", "Declare the fineness in per mille or in karat, not both.")
        if told.get("returned_from"):
            self._clean_returned(told)

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
        told = self.cleaned_data
        karat, ppm = told["declared_karat"], told["declared_ppm"]
        return ParcelEntry(
            form=Form(told["form"]),
            scale=told["scale"],
            gross_mg=told["gross"],
            tare_mg=told["tare"] or 0,
            category=Category(told["category"]),
            country=told["country"],
            mine=told["mine"],
            pieces=told["pieces"],
            description=told["description"],
            seal=told["seal"],
            declared_gross_mg=told["declared_gross"],
            declared_au_ppm=karat if ppm is None else ppm,
            custody_model=CustodyModel(told["custody_model"]),
            returned_from=told["returned_from"],
        )


class Parcels(BaseRows):
    title, row_word, add_label = "Parcels", "parcel", "Add a parcel"
    note = "One parcel, one declared origin: it becomes one lot."
    lot_field = ""

    @property
    def entries(self) -> list[ParcelEntry]:
        """What the action is told of the parcels, in order."""
        return [form.entry for form in self.filled]


ParcelRows = rows_of(ParcelForm, Parcels, extra=3, most=MOST_PARCELS)
