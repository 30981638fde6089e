"""The batch sheet of a route order, filled from the order, its lots as they were, and the plant's settings then."""

from datetime import datetime

from custody.calc.charge import Stage, charge_of
from custody.calc.fineness import format_percent
from custody.calc.route import Step
from custody.calc.safety import LIQUORS, Caution, cautions_for
from custody.documents.batch import BatchLot, BatchSheet
from custody.documents.fill_receipt import house_of
from custody.documents.parts import Signature
from custody.models import PlantSettings, Refinery, RouteOrder, RouteOrderLot
from custody.queries import planner
from custody.terms import METALS, PPM


def stages_of(order: RouteOrder) -> tuple[Stage, ...]:
    """The stages of an order with their reagents, by the settings under which it was ordered."""
    lines = list(order.lines.all())
    fine = {metal: sum(line.metals_mg[i] for line in lines) for i, metal in enumerate(METALS)}
    practice = planner.practice_of(order.settings or PlantSettings())
    steps = [Step(step) for step in order.steps]
    return charge_of(steps, fine, silver_added_mg=order.silver_to_add_mg, practice=practice)


def cautions_of(stages: tuple[Stage, ...]) -> tuple[Caution, ...]:
    """The usual cautions of these stages, each once."""
    found = [
        caution
        for stage in stages
        for caution in (*(one for kind in stage.kinds for one in cautions_for(kind)), *stage.cautions)
    ]
    return tuple(dict.fromkeys([*found, LIQUORS]))


def acids_of(settings: PlantSettings) -> str:
    """The plant's acids in words."""
    nitric, hydrochloric = (
        f"{name} {format_percent(strength)} % of {density // 1000}.{density % 1000:03d} g/mL"
        for name, strength, density in (
            ("nitric acid", settings.nitric_strength_ppm, settings.nitric_density),
            ("hydrochloric acid", settings.hydrochloric_strength_ppm, settings.hydrochloric_density),
        )
    )
    return f"{nitric}, {hydrochloric}"


def batch_sheet(order: RouteOrder, *, copy_no: int, at: datetime) -> BatchSheet:
    """The order on paper; a reprint says which copy it is."""
    lines = list(order.lines.select_related("lot__owner").order_by("position"))
    total = tuple(sum(line.columns_mg[i] for line in lines) for i in range(len(METALS) + 1))
    stages = stages_of(order)
    return BatchSheet(
        house=house_of(Refinery.objects.get()),
        number=order.number if copy_no == 1 else f"{order.number}, copy {copy_no}",
        qr=order.number,
        lots=tuple(_lot(line) for line in lines),
        total_mg=total,
        fineness_ppm=tuple(mg * PPM // total[0] for mg in total[1:]),
        wanted_ppm=order.wanted_ppm,
        steps=tuple(order.steps),
        reasons=tuple(order.reasons),
        flags=tuple(order.flags),
        note=order.note,
        silver_to_add_mg=order.silver_to_add_mg,
        stages=stages,
        acids=acids_of(order.settings or PlantSettings()),
        cautions=cautions_of(stages),
        signatures=(
            Signature("Route ordered", str(order.ordered_by), order.at),
            Signature("Charged and weighed by"),
            Signature("Reagents measured by"),
            Signature("Batch finished, weights entered by"),
        ),
        issued_at=at,
    )


def _lot(line: RouteOrderLot) -> BatchLot:
    lot = line.lot
    owner = lot.owner.code if lot.owner else "pooled" if lot.pooled else "the house"
    return BatchLot(lot.number, lot.get_form_display(), owner, line.columns_mg)
