"""Rows of a step as its recipe lays them out: lots in that may be weighed again, lots out weighed, fitting metals."""

from collections.abc import Collection

from django import forms

from custody.actions.weigh import Weighed
from custody.actions.work import Make
from custody.calc.recipes import Recipe
from custody.staff.lines import Choices, Losses, LossLine, LotIn, LotsIn, LotsOut, WithMetals, place_field
from custody.terms import METALS, Form
from custody.web.forms import rows_of
from custody.web.weighing import Scales, WeighingFields, scale_choices

#: What no scale in the house weighs as a rule: its weight comes from volume and density.
BY_VOLUME = (Form.SOLUTION,)
#: Metals that are in nearly every lot; the others are folded away until a lot holds them.
_COMMON = ("Au", "Ag", "Cu")
#: What every step may leave beside its products.
_BESIDE = (Form.SWEEPINGS, Form.CRUCIBLE, Form.FILTER, Form.OTHER)


def to_weigh_on(field: forms.ChoiceField, scales: Scales, scale: str) -> None:
    """Offers the scales, and not weighing; the scale of before is chosen where it may weigh today."""
    field.initial = scale if scale in scales and scales[scale].passed else ""
    field.choices = [("", "not weighed"), *scale_choices(scales)]


class StepIn(WeighingFields, LotIn):
    """A lot that goes in; whole, it may be weighed again."""

    silent = frozenset({"scale"})
    folded = ("scale", "gross", "tare")
    fold_label = "Weigh it again"

    def __init__(self, *args, scale: str = "", scales: Scales, **kwargs):
        super().__init__(*args, scale=scale, scales=scales, **kwargs)
        to_weigh_on(self.fields["scale"], scales, scale)
        del self.fields["gross"].widget.attrs["data-metal"]  # the balance counts the book's weight, not the scale's
        self.fields["gross"].label = "Weighed, g"

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("gross") and cleaned.get("part"):
            self.add_error("gross", "A whole lot is weighed again. Clear this, or take the whole lot.")
        return cleaned


class StepOut(WeighingFields, WithMetals):
    """A lot that comes out, by what its scale says without the container; its metals as the recipe has them."""

    must_weigh = True
    silent = frozenset({"form", "place", "scale"})
    form = forms.ChoiceField(label="Form")
    fold_label = "Place, other metals"
    metals = METALS
    field_order = ("form", "scale", "gross", "tare", *METALS, "place")

    def __init__(
        self, *args, recipe: Recipe, held: Collection[str] = (), places: Choices = (), scale: str = "", scales: Scales,
        **kwargs,
    ):  # fmt: skip
        super().__init__(*args, scale=scale, scales=scales, **kwargs)
        self.recipe, self.held = recipe, held
        self.fields["place"] = place_field("where the step was", places)
        self.fields["form"].choices = form_choices(recipe)
        self.fields["form"].initial = recipe.makes[0].form.value if recipe.makes else Form.OTHER.value
        to_weigh_on(self.fields["scale"], scales, scale)
        if self.initial.get("form") in BY_VOLUME:
            self.fields["scale"].initial = ""
        self.fields["scale"].widget.attrs["data-carry"] = True
        self.order_fields(self.field_order)

    @property
    def folded(self) -> tuple[str, ...]:
        """The place, and the metals that a product of this form and these lots hardly holds."""
        form = self["form"].value()
        usual = self.recipe.shown(Form(form)) if form in set(Form) else METALS
        shown = {metal for metal in usual if metal in self.held or (metal in _COMMON and not self.held)}
        return (*(metal for metal in METALS if metal in self.fields and metal not in shown), "place")

    def clean(self):
        cleaned = super().clean()
        if cleaned.get("tare") and not cleaned.get("scale") and "scale" not in self.errors:
            self.add_error("scale", "A tare is weighed: choose the scale.")
        return cleaned

    def _check_scale(self, code: str, gross: int) -> None:
        if code:
            super()._check_scale(code, gross)

    @property
    def told(self) -> Weighed | None:
        """The weighing; None for what was not weighed."""
        return self.weighed if self.cleaned_data.get("scale") else None

    @property
    def net_mg(self) -> int:
        """What the lot weighs, milligrams."""
        return self.told.net_mg if self.told else self.cleaned_data["gross"]

    def make(self) -> Make:
        """The lot to make."""
        said = self.cleaned_data
        return Make(Form(said["form"]), self.net_mg, self.fine_mg, place=said["place"], weighed=self.told)


class StepLoss(LossLine):
    """A declared loss; metals that no lot in it holds are folded away."""

    fold_label = "In words, other metals"

    def __init__(self, *args, held: Collection[str] = (), **kwargs):
        super().__init__(*args, **kwargs)
        self.held = held or _COMMON

    @property
    def folded(self) -> tuple[str, ...]:
        """The words, and the metals that are not in the lots."""
        return (*(metal for metal in METALS if metal in self.fields and metal not in self.held), "words")


def form_choices(recipe: Recipe) -> list:
    """The forms that a step makes, those that any step leaves, and every other one."""
    usual = [out.form for out in recipe.makes]
    beside = [form for form in _BESIDE if form not in usual]
    other = [form for form in Form if form not in (*usual, *beside, Form.IN_PROCESS, Form.SAMPLE)]
    groups = (("Usual", usual), ("Left over", beside), ("Other forms", other))
    return [(title, [(form.value, form.label) for form in forms]) for title, forms in groups if forms]


class StepLotsIn(LotsIn):
    note = "Scan each lot; Enter moves on. Leave the part blank to take the whole lot."


class StepLotsOut(LotsOut):
    note = "Weigh each; leave blank what did not come. Metals: name them, or have them proposed from the book."


class NoLotsOut(StepLotsOut):
    required = False
    note = "Usually none: leave it blank."


StepInRows = rows_of(StepIn, StepLotsIn, extra=2)
StepOutRows = rows_of(StepOut, StepLotsOut, extra=2)
NoOutRows = rows_of(StepOut, NoLotsOut, extra=1)
StepLossRows = rows_of(StepLoss, Losses, extra=2)
