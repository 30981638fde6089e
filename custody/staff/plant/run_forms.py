"""Entries of a run: what goes into a vessel, what leaves it by the scale or by the litre, and where it runs on to."""

from collections.abc import Collection, Sequence

from django import forms

from custody.actions.runs import Into
from custody.actions.work import Make
from custody.calc.fineness import format_percent
from custody.calc.recipes import Recipe
from custody.calc.rules import RULES
from custody.calc.solutions import mass_mg
from custody.errors import Refusal
from custody.models import Place
from custody.queries import plant
from custody.staff.entry import StepForm
from custody.staff.lines import AdditionLine, Additions, Choices, LotsOut, WithMetals, place_field
from custody.staff.plant.order_field import OrderField
from custody.staff.solution_fields import DensityField, LitresField
from custody.terms import METALS, PPM, Form, Kind, PlaceKind
from custody.web.forms import PercentField, rows_of
from custody.web.weighing import Scales, WeighingFields, scale_choices

#: Wet and long steps, which have a time by which they should be over.
LONG = tuple(kind for kind, rule in RULES.items() if rule.hours and kind not in (Kind.CHARGE, Kind.DRAW, Kind.FINISH))
STEPS = [(kind.value, kind.label) for kind in LONG]


class ChargeForm(StepForm):
    """Into which vessel, for which step, and on which order."""

    place = None
    vessel = forms.ModelChoiceField(label="Vessel", queryset=None, empty_label="Choose a vessel")
    step = forms.ChoiceField(
        label="Step",
        choices=STEPS,
        initial=Kind.DISSOLVE,
        help_text="A vessel that holds a content already goes on with its own step.",
    )
    order = OrderField()

    field_order = ("vessel", "step", "order", "at", "reason")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["vessel"].queryset = plant.places(PlaceKind.VESSEL).select_related("vessel__overflows_to")


class OutForm(StepForm):
    """What leaves a run: which scale weighs it, and which step goes on where it runs into an empty vessel."""

    scale = forms.ChoiceField(
        label="Scale",
        required=False,
        widget=forms.Select(attrs={"data-scale": True}),
        help_text="For what is weighed; a solution may go by its litres.",
    )
    onward = forms.ChoiceField(
        label="Step in the next vessel",
        choices=STEPS,
        required=False,
        help_text="Where a solution runs into an empty vessel.",
    )
    field_order = ("scale", "onward", "place", "at", "reason")

    def __init__(self, *args, scale: str = "", scales: Scales, follows: str, **kwargs):
        super().__init__(*args, **kwargs)
        field = self.fields["scale"]
        field.initial = scale if scale in scales else ""
        field.choices = [("", "choose…"), *scale_choices(scales)]
        self.fields["onward"].initial = follows


class ByLitres(forms.Form):
    """A mass by its litres and density instead of the scale's; the cleaned ``gross`` is their product."""

    litres = LitresField(label="Litres", required=False)
    density = DensityField(label="Density, g/mL", required=False)

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["litres"].widget.attrs["data-litres"] = True
        self.fields["density"].widget.attrs["data-density"] = True

    def clean(self):
        cleaned = super().clean() or self.cleaned_data
        litres, density = cleaned.get("litres"), cleaned.get("density")
        if litres is None:
            return cleaned
        if cleaned.get("gross"):
            self.add_error("litres", "Give the litres or the gross, not both: one of them is the weighing.")
        elif density is None and "density" not in self.errors:
            self.add_error("density", "The density is missing: litres alone are no weight. Water is 1.000.")
        elif density:
            cleaned["gross"] = mass_mg(litres, density)
            self.errors.pop("gross", None)
        return cleaned


class LiquidLine(ByLitres, AdditionLine):
    """An addition by its weight, or by litres and density."""

    silent = frozenset({"what", "density"})
    field_order = ("what", "gross", "litres", "density")

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["gross"].required = False

    def clean(self):
        cleaned = super().clean()
        if not cleaned.get("gross") and not {"gross", "litres", "density"} & set(self.errors):
            self.add_error("gross", "Gross, g is missing: weigh it, or give its litres and density.")
        return cleaned


class Product(ByLitres, WeighingFields, WithMetals):
    """What leaves the vessel: weighed on the form's scale, or by litres; a liquid may run straight into a vessel."""

    scale = None
    silent = frozenset({"form", "place", "into", "density"})
    form = forms.ChoiceField(label="Form")
    moisture = PercentField(label="Moisture, %", required=False, zero=True, what="moisture")
    field_order = ("form", "gross", "litres", "density", "moisture", *METALS, "into", "tare", "place")

    def __init__(
        self,
        *args,
        recipe: Recipe,
        held: Collection[str] = METALS,
        places: Choices = (),
        vessels: Sequence[Place] = (),
        **kwargs,
    ):
        super().__init__(*args, **kwargs)
        self.recipe, self.held = recipe, held
        usual = [out.form for out in recipe.makes]
        others = [form for form in Form if form is not Form.IN_PROCESS and form not in usual]
        self.fields["form"].choices = [(form.value, form.label) for form in (*usual, *others)]
        self.fields["form"].initial = Form.SOLUTION.value
        self.vessels = {vessel.code: vessel for vessel in vessels}
        self.fields["place"] = place_field("where the step was", places)
        into = forms.ChoiceField(
            label="Runs into",
            choices=[("", "no vessel: a lot of its own"), *((code, str(one)) for code, one in self.vessels.items())],
            required=False,
        )
        into.wide = True
        self.fields["into"] = into
        self.fields["gross"].required = False
        self.order_fields(self.field_order)

    @property
    def folded(self) -> tuple[str, ...]:
        """What a product of this form hardly needs: litres of what is weighed, metals that it does not hold."""
        form = self["form"].value()
        usual = self.recipe.shown(Form(form)) if form in set(Form) else METALS
        holds = [metal for metal in usual if metal in self.held]
        liquid = () if form == Form.SOLUTION else ("litres", "density", "into")
        wet = () if form == Form.CAKE else ("moisture",)
        return ("tare", *liquid, *wet, *(metal for metal in METALS if metal not in holds), "place")

    @property
    def fold_label(self) -> str:
        """What is folded away, in words."""
        return "Tare, other metals, place" if "litres" not in self.folded else "Tare, litres, other metals, place"

    def clean(self):
        cleaned = super().clean()
        if not cleaned.get("gross") and not {"gross", "litres", "density"} & set(self.errors):
            self.add_error("gross", "Gross, g is missing: weigh it, or give the litres of a solution.")
        if cleaned.get("litres") and cleaned.get("form") != Form.SOLUTION:
            self.add_error("litres", "Only a solution goes by its litres: weigh this on a scale.")
        if (cleaned.get("moisture") or 0) >= PPM:
            self.add_error("moisture", "Nothing but moisture is no product: give less than 100 %.")
        if cleaned.get("into") and cleaned.get("place"):
            self.add_error("place", "It runs into a vessel: leave the place blank.")
        return cleaned

    @property
    def filled(self) -> bool:
        """Whether it says anything that has a weight."""
        return self.has_changed() and bool(self.cleaned_data.get("gross"))

    @property
    def by_scale(self) -> bool:
        """Whether the form's scale weighed it."""
        return self.cleaned_data.get("litres") is None

    def make(self, scale: str) -> Make:
        """The lot, by the scale without its container or by its litres. Raises ``Refusal`` without a scale."""
        said = self.cleaned_data
        place = said["into"] or said["place"]
        if not self.by_scale:
            return Make(Form(said["form"]), said["gross"], self.fine_mg, place=place)
        if not scale:
            raise Refusal("Scale is missing. Choose the one that weighed the products.").at("scale")
        weighed = self.weighed_on(scale)
        words = f"moisture {format_percent(said['moisture'])} %" if said.get("moisture") is not None else ""
        return Make(Form(said["form"]), weighed.net_mg, self.fine_mg, place=place, weighed=weighed, words=words)

    def onward(self, step: str) -> Into | None:
        """The vessel that it runs into."""
        into = self.cleaned_data["into"]
        return Into(self.vessels[into], Kind(step or Kind.NEUTRALISE)) if into else None


class Products(LotsOut):
    title, row_word, add_label = "Products", "product", "Add a product"
    note = (
        "Weigh each on the scale. A solution may go by its litres and density, and run straight into the next vessel."
    )


class Carried(Products):
    title, row_word, add_label, required = "Carried to another lot or vessel", "lot out", "Add a lot", False


class Liquids(Additions):
    note = "By weight, or by litres and density: nitric of 68 % is about 1.41, hydrochloric of 37 % about 1.18 g/mL."


LiquidRows = rows_of(LiquidLine, Liquids, extra=2)
ProductRows = rows_of(Product, Products)
CarriedRows = rows_of(Product, Carried)
