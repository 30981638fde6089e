"""A row in every table of solutions, cells, bars, boxes and the vault, built through the actions."""

from datetime import timedelta

from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.bar_types import enter_bar_type, set_aside_serials, tell_serials
from custody.actions.boxes import open_box, pack_box
from custody.actions.cells import keep_current
from custody.actions.house import change_place
from custody.actions.runs import Into, charge_vessel, draw_from
from custody.actions.solutions import Found, accept_solution, assay_solution, set_effluent_limits
from custody.actions.vault import Stray, close_vault, count_stock, open_vault
from custody.actions.water import discharge
from custody.actions.work import Add, ForOrder, Lose, Make, Take, record_step
from custody.calc.bar_types import Making
from custody.models import Lot, RouteOrder, Run
from custody.terms import Addition, Cause, Form, Kind, SerialFate
from tests import builders, people, settling


def kilobar():
    """The type of a kilobar of fine gold, at most 50 mg over its weight."""
    return enter_bar_type(
        code="AU-1000", name="1 kg gold", metal="Au", nominal_mg=1_000_000, least_mg=1_000_000, most_mg=1_000_050,
        least_ppm=999_900, making=Making.CAST, by=people.mona_manager(), marks=("FINE GOLD",),
    )  # fmt: skip


def whole(now):
    """Everything, beside the rest of the book."""
    _work_on_an_order()
    _cell()
    _water()
    _bars()
    _vault()
    _gate()
    _swept()


def _work_on_an_order():
    order = RouteOrder.objects.get()
    lot = order.lines.get().lot
    record_step(
        kind=Kind.GRANULATE, inputs=[Take(lot.number)],
        outputs=[Make(Form.GRANULES, lot.gross_mg, _fine(lot))], at=timezone.now(), by=people.otto_operator(),
        for_order=ForOrder(order, order.steps[0]),
    )  # fmt: skip


def _cell():
    """A cell of gold under current, its electrolyte assayed; limits for water."""
    otto = people.otto_operator()
    (lot,) = builders.ready(100, Au=995_000, Ag=4_000)
    charged = record_step(
        kind=Kind.CHARGE, step=Kind.ELECTROLYSE_GOLD, inputs=[Take(lot.number)], at=timezone.now(), by=otto,
        additions=(Add(Addition.ACID, 1_000_000),),
        outputs=[Make(Form.IN_PROCESS, 1_000_000 + lot.gross_mg, _fine(lot), vessel="CELL-1")],
    )  # fmt: skip
    run = Run.objects.get(opened_by_id=charged.id)
    began = run.opened_by.at
    keep_current(
        run=run, from_at=began, to_at=began + timedelta(microseconds=1000), milliampere=1000,
        at=timezone.now() + timedelta(seconds=1), by=otto,
    )  # fmt: skip
    content = Lot.objects.get(number=charged.lots[0])
    found = {"Au": Found(99_000_000), "Ag": Found(400_000), "Cu": Found(10, below=True)}
    assay = assay_solution(
        lot=content.number, volume_ml=1_000, density_mg_ml=1_100, figures=found, method="ICP spectrometry",
        ph_centi=50, at=timezone.now(), by=people.anna_assayer(),
    )  # fmt: skip
    accept_solution(
        assay=assay, at=timezone.now(), by=people.ada_assayer(), reason="The anode left half a gram",
        countersign=Signature(people.mona_manager(), "Seen the assay"),
    )  # fmt: skip
    set_effluent_limits(
        valid_from=timezone.localdate(), limits={"Ag": (None, 100), "pH": (650, 900)}, note="permit",
        at=timezone.now(), by=people.mona_manager(),
    )  # fmt: skip


def _water():
    """Treated water, assayed as the book has it, leaves within the limits."""
    otto, tank = people.otto_operator(), builders.place("TANK-1")
    (lot,) = builders.ready(10, Au=1_000, Ag=1_000)
    into = Into(tank, Kind.NEUTRALISE)
    added = (Add(Addition.WATER, 99_990_000),)
    charged = charge_vessel(into=into, inputs=[Take(lot.number)], additions=added, at=timezone.now(), by=otto)
    content = Lot.objects.get(number=charged.lots[0])
    carried = Make(Form.SOLUTION, content.gross_mg, _fine(content))
    drawn = draw_from(
        kind=Kind.FINISH, content=content, take=Take(content.number), outputs=[carried], at=timezone.now(), by=otto
    )
    treated = Lot.objects.get(number=drawn.lots[0])
    assay = assay_solution(
        lot=treated.number, volume_ml=100_000, density_mg_ml=1_000, figures={"Au": Found(100), "Ag": Found(100)},
        method="ICP spectrometry", ph_centi=800, at=timezone.now(), by=people.anna_assayer(),
    )  # fmt: skip
    accept_solution(assay=assay, at=timezone.now(), by=people.ada_assayer())
    discharge(lot=treated, volume=40_000, at=timezone.now(), by=otto)


def _bars():
    """Serials of another mark set aside and one spoiled; two bars packed, and the box opened again."""
    kilobar()
    mona, vera = people.mona_manager(), people.vera_vault()
    set_aside_serials(mark="HFX", year=2026, head="B", width=4, first=1, last=9, at=timezone.now(), by=mona)
    tell_serials(
        mark="HFX", year=2026, serials=["B0003"], fate=SerialFate.SPOILED, reason="Struck twice",
        at=timezone.now(), by=people.otto_operator(),
    )  # fmt: skip
    bar = builders.handed_over(builders.bar("HF-BOX", grams=100), vera, "VAULT")
    box = pack_box(bars=[bar.number], seal="S-77", at=timezone.now(), by=vera)
    open_box(box=box, reason="Wrong seal", at=timezone.now(), by=vera)
    other = builders.handed_over(builders.bar("HF-BOX-2", grams=100), vera, "VAULT")
    pack_box(bars=[bar.number, other.number], seal="S-78", at=timezone.now(), by=vera)


def _gate():
    """A lot of the party's own metal leaves, weighed."""
    (lot,) = builders.ready(50, by=people.vera_vault(), where="VAULT")
    settling.dispatched(lot)


def _vault():
    """A place that two people open; it is opened, counted and closed."""
    place = builders.place("CAGE")
    mona, vera = people.mona_manager(), people.vera_vault()
    signed = Signature(mona, "Opened with Vera")
    access = open_vault(place=place, second=signed, purpose="Count", at=timezone.now(), by=vera)
    bar = builders.handed_over(builders.bar("HF-CAGE", grams=100), vera, "CAGE")
    gone = builders.handed_over(builders.bar("HF-GONE", grams=100), vera, "CAGE")
    count_stock(
        place=place, found={bar.number: ""}, missing={gone.number: "Not in the cage"},
        strays=[Stray("X-1", note="A loose label"), Stray("HF-STRAY", lot=builders.bar("HF-STRAY", grams=100).number)],
        second=Signature(mona, "Counted with Vera"), at=timezone.now(), by=vera,
    )  # fmt: skip
    close_vault(access=access, at=timezone.now(), by=vera)
    change_place(place=builders.place("CELL-1"), active=True, two_person=True, by=mona)
    change_place(place=builders.place("CELL-1"), active=True, two_person=False, by=mona)


def _fine(lot):
    return {"Au": lot.au_mg, "Ag": lot.ag_mg}


def _swept():
    """What was swept of the workshop's floor, not assayed yet."""
    record_step(
        kind=Kind.CLEAN_OUT, inputs=[], outputs=[Make(Form.SWEEPINGS, 1_500)], losses=(Lose(Cause.SWEEPINGS, -1_500),),
        place=builders.place("SHOP"), at=timezone.now(), by=people.otto_operator(),
    )  # fmt: skip
