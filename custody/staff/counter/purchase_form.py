"""The entry of a purchase at the counter: the receipt's, and the price and the indication of every parcel."""

from dataclasses import dataclass
from decimal import Decimal

from django import forms

from custody.actions.receive import Bought, SpotPurchase
from custody.calc import currencies, purchase
from custody.staff.counter.fields import DeclaredField
from custody.staff.counter.forms import MOST_PARCELS, ParcelForm, Parcels, ReceiptForm, typed_on
from custody.terms import METALS, Form, IdentityKind, Method, Payment
from custody.web.forms import PercentField, rows_of
from custody.web.price_field import PriceField

#: What a parcel may be bought by, the surest in front.
BOUGHT_BY = (Method.XRF, Method.DENSITY, Method.STATED)


@dataclass(frozen=True, slots=True)
class Line:
    """One parcel as it would be bought: how its amount comes about."""

    what: str
    indicated: str
    formula: str
    amount: Decimal


class PurchaseForm(ReceiptForm):
    """Who sells, in which money, at a price from where, and how it is paid. ``seen`` is the mark of what was shown."""

    FILES = ()
    basis = photographs = papers = paper_kind = None

    identity_kind = forms.ChoiceField(label="Identity seen", choices=[("", "choose…"), *IdentityKind.choices()])
    currency = forms.ChoiceField(label="Currency", choices=[(code, code) for code in currencies.USUAL])
    price_source = forms.CharField(
        label="Price from", max_length=120, widget=typed_on(), help_text="Which price list or fixing, and of which day."
    )
    payment = forms.ChoiceField(label="Paid by", choices=[("", "choose…"), *Payment.choices()])
    reference = forms.CharField(
        label="Payment reference",
        required=False,
        max_length=120,
        widget=typed_on(),
        help_text="Of the transfer or cheque; of cash, the voucher.",
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    field_order = (
        "party", "delivered_by", "on_behalf_of", "identity_kind", "identity_number", "currency", "price_source",
        "payment", "reference", "place", "slip",
    )  # fmt: skip

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["delivered_by"].label = "Sold by"


class BoughtForm(ParcelForm):
    """One parcel that is bought: its metal, what indicates its fineness, the price and the share paid."""

    CARRIED = (*ParcelForm.CARRIED, "metal", "method", "price", "payable")
    folded = ("declared", *ParcelForm.folded)
    note_template = ""

    metal = forms.ChoiceField(label="Metal", choices=[(metal, metal) for metal in METALS], initial="Au")
    indicated = DeclaredField(metal="", label="Fineness", help_text="18k, 585 or 58.5 %")
    method = forms.ChoiceField(label="Indicated by", choices=[(one.value, one.label) for one in BOUGHT_BY])
    price = PriceField(label="Price, per g fine", what="price per gram of fine metal")
    payable = PercentField(label="Share paid, %", what="share paid", initial=PercentField().show(1_000_000))
    field_order = (
        "form", "category", "country", "mine", "scale", "seal", "pieces", "gross", "tare", "metal", "indicated",
        "method", "price", "payable",
    )  # fmt: skip

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["indicated"].required = True
        self.fields["indicated"].metal = self["metal"].value() or "Au"
        self.fields["indicated"].what = "indicated fineness"

    @property
    def figures(self) -> tuple[int, int, Decimal, int]:
        """Net milligrams, ppm, price and share, as calc.purchase reckons with them."""
        told = self.cleaned_data
        return self.weighed.net_mg, told["indicated"].high_ppm, told["price"], told["payable"]

    @property
    def bought(self) -> Bought:
        """What the action is told of the price."""
        told, (_, ppm, price, payable) = self.cleaned_data, self.figures
        return Bought(told["metal"], ppm, Method(told["method"]), price, payable, purchase.amount(*self.figures))

    def line(self, currency: str) -> Line:
        """What the page shows of the amount."""
        told = self.cleaned_data
        return Line(
            what=", ".join(filter(None, (Form(told["form"]).label, told["seal"]))),
            indicated=f"{told['metal']} {purchase.fineness_words(told['indicated'].high_ppm, told['method'])}",
            formula=purchase.formula(*self.figures, currency),
            amount=purchase.amount(*self.figures),
        )


class BoughtParcels(Parcels):
    note = "One parcel, one declared origin: it becomes one lot. What is indicated here is no assay."

    def spot_purchase(self, form: PurchaseForm) -> SpotPurchase:
        """What the action is told."""
        said = form.cleaned_data
        return SpotPurchase(
            currency=said["currency"],
            payment=Payment(said["payment"]),
            price_source=said["price_source"],
            reference=said["reference"],
            lines=tuple(row.bought for row in self.filled),
        )


BoughtRows = rows_of(BoughtForm, BoughtParcels, extra=3, most=MOST_PARCELS)
