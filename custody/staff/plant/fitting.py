"""What is at hand for a step: lots in the operator's custody that it usually takes, and silver for inquartation."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from django.utils import timezone

from custody.calc.mass import format_grams, plain_grams
from custody.calc.recipes import Recipe
from custody.calc.route import silver_for_inquartation_mg
from custody.models import Lot, User
from custody.queries import planner, plant
from custody.terms import METALS, PPM, Clearance, Kind

#: So many lots are offered on one page; the board has them all.
MOST = 12
#: At least so much silver makes a lot worth melting in for inquartation, ppm.
SILVER_PPM = 900_000
_BETWEEN = "|"


@dataclass(frozen=True, slots=True)
class Fitting:
    """A lot that a button adds: the button's value (the lot, and how much of it) and its words."""

    value: str
    words: str


@dataclass(frozen=True, slots=True)
class Silver:
    """What inquartation still needs: silver in milligrams, gold's share after it, and lots that have it."""

    gold_mg: int
    wanted_mg: int
    share_ppm: int
    lots: tuple[Fitting, ...]


def fitting_lots(recipe: Recipe, viewer: User, named: Collection[Lot]) -> list[Fitting]:
    """Lots in the viewer's custody that this step usually takes, those named already left out, the oldest first."""
    taken = [lot.pk for lot in named]
    held = plant.in_custody_of(viewer).filter(form__in=recipe.takes).exclude(clearance=Clearance.HELD)
    found = held.exclude(pk__in=taken).order_by("last_at", "id")[:MOST]
    return [
        Fitting(lot.number, f"{lot.number} {lot.get_form_display()}, {format_grams(lot.gross_mg)} g") for lot in found
    ]


def silver_wanted(going_in: Sequence[tuple[int, ...]], viewer: User, named: Collection[Lot]) -> Silver:
    """The silver that these lots (gross and metals going in, milligrams) still lack for parting, and where it is.

    Each lot offered covers what is wanted alone, or gives all it has. Raises ``Refused`` for settings that contradict.
    """
    share = planner.limits_of(planner.settings_on(timezone.localdate())).gold_share
    fine = {metal: sum(row[place] for row in going_in) for place, metal in enumerate(METALS, start=1)}
    wanted = silver_for_inquartation_mg(fine, gold_share=share)
    lots = ()
    if wanted:
        ready = planner.within(plant.ready_to_work(viewer).filter(valued=True, ag_mg__gt=0), None, None)
        rich = [lot for lot in ready.order_by("-ag_mg") if lot.ag_mg * PPM >= lot.gross_mg * SILVER_PPM]
        taken = {lot.pk for lot in named}
        lots = tuple(_of_silver(lot, wanted) for lot in rich[:MOST] if lot.pk not in taken)
    return Silver(fine["Au"], wanted, int(share * PPM), lots)


def _of_silver(lot: Lot, wanted_mg: int) -> Fitting:
    part = -(-wanted_mg * lot.gross_mg // lot.ag_mg)
    if part >= lot.gross_mg:
        words = f"all of {lot.number} {lot.get_form_display()}, {format_grams(lot.gross_mg)} g"
        return Fitting(lot.number, words)
    return Fitting(f"{lot.number}{_BETWEEN}{plain_grams(part)}", f"{format_grams(part)} g of {lot.number}")


def asked_for(value: str) -> dict[str, str]:
    """The fields of a row that a button's value fills: the lot, and how much of it."""
    lot, _, part = value.partition(_BETWEEN)
    return {"lot": lot, "part": part}


def of_inquartation(recipe: Recipe) -> bool:
    """Whether silver is to be reckoned for this step."""
    return recipe.kind is Kind.INQUART
