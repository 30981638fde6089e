"""A plant in the middle of its work: lots of every standing, each under the name by which a refusal is provoked."""

from datetime import date
from types import SimpleNamespace

from django.utils import timezone

from custody.actions._sign import Signature
from custody.actions.history import import_history
from custody.actions.work import Add, Lose, Make, Take, correct_lot, record_step, reverse
from custody.models import Operation, Party
from custody.terms import Addition, Basis, Cause, CustodyModel, Form, Kind, Outturn
from tests import builders, people, settling

PAST = [
    '{"record":"header","format":"custody-history","version":1}',
    '{"record":"operation","number":"OLD-9","kind":"receive","at":"2023-04-01T09:00:00+00:00","party":"P-77","owner":"P-77",'
    '"outputs":[{"lot":"OLD-X","form":"dore","gross_g":"10.000","fine_g":{"Au":"6.000"}}]}',
]


def now():
    return timezone.now()


def step(kind, inputs, outputs=(), **more):
    more.setdefault("by", people.otto_operator())
    return record_step(kind=kind, inputs=list(inputs), outputs=list(outputs), at=now(), **more)


def operation(posted):
    return Operation.objects.get(pk=posted.id)


def melted(lot, **more):
    return step(Kind.MELT, [Take(lot.number)], [Make(Form.MELT, lot.gross_mg, fine(lot))], **more)


def fine(lot):
    return dict(zip(("Au", "Ag", "Pt", "Pd", "Cu"), lot.metals_mg, strict=True))


def with_otto(lot):
    return builders.handed_over(lot, people.otto_operator())


def with_vera(lot):
    return builders.handed_over(lot, people.vera_vault(), "VAULT")


def the_scene():
    """Everything that stands around, by name."""
    scene = SimpleNamespace(otto=people.otto_operator(), mona=people.mona_manager(), vera=people.vera_vault())
    _lots(scene)
    _gate(scene)
    _runs(scene)
    _reversals(scene)
    _counted(scene)
    return scene


def _lots(scene):
    (scene.ours,) = builders.ready(1000)
    (scene.more,) = builders.ready(200)
    (scene.empty,) = builders.ready(10)
    melted(scene.empty)
    scene.unvalued = with_otto(builders.released(builders.received(90_000)[0]))
    scene.unreleased = with_otto(builders.valued(builders.received(80_000)[0]))
    scene.held = builders.held(with_otto(builders.valued(builders.received(70_000)[0])))
    scene.others = builders.valued(builders.received(60_000)[0])
    for name, model in (("segregated", CustodyModel.SEGREGATED), ("identity", CustodyModel.IDENTITY)):
        (lot,) = builders.received(builders.parcel(50_000, custody_model=model))
        setattr(scene, name, with_otto(builders.released(builders.valued(lot))))


def _gate(scene):
    (bought,) = builders.received(40_000, basis=Basis.PURCHASE)
    scene.house = with_vera(builders.released(builders.valued(bought)))
    (unseen,) = builders.received(30_000)
    scene.unseen = with_vera(builders.valued(unseen))
    (toll,) = builders.received(20_000)
    scene.toll = with_vera(builders.released(builders.valued(toll)))
    people.party("P-02")


def _runs(scene):
    lot, again = builders.ready(20, 21)
    charged = _charge(lot, "VESSEL-2")
    content = builders.fresh(charged.lots[0])
    finished = step(Kind.FINISH, [Take(content.number)], [Make(Form.SOLUTION, content.gross_mg, fine(content))])
    scene.finish_in_used_vessel = operation(finished)
    scene.content = builders.fresh(_charge(again, "VESSEL-2").lots[0])


def _charge(lot, vessel):
    return step(
        Kind.CHARGE, [Take(lot.number)], [Make(Form.IN_PROCESS, lot.gross_mg + 1000, fine(lot), vessel=vessel)],
        additions=(Add(Addition.ACID, 1000),),
    )  # fmt: skip


def _reversals(scene):
    one, two, three, four, five = builders.ready(11, 12, 13, 14, 15)
    first = melted(one)
    scene.used = operation(first)
    melted(builders.fresh(first.lots[0]))
    moved = melted(two)
    scene.moved = operation(moved)
    builders.handed_over(builders.fresh(moved.lots[0]), scene.vera, "VAULT")
    twice = melted(three)
    scene.undone = operation(twice)
    scene.reversal = operation(reverse(operation=scene.undone, reason="Twice", at=now(), by=scene.otto))
    cast = step(
        Kind.CAST, [Take(four.number)], [Make(Form.BAR, four.gross_mg, fine(four), serial="HF-CANCELLED", place="SHOP")]
    )
    scene.cancelled_bar = cast.lots[0]
    reverse(operation=operation(cast), reason="Wrong stamp", at=now(), by=scene.otto)
    lossy = step(
        Kind.MELT, [Take(five.number)], [Make(Form.MELT, five.gross_mg - 40, fine(five) | {"Au": five.au_mg - 40})],
        losses=(Lose(Cause.LINING, 40, {"Au": 40}),),
    )  # fmt: skip
    scene.lossy = operation(lossy)
    four = builders.fresh(four.number)
    step(
        Kind.RECYCLE, [Take(four.number)], [Make(Form.MELT, four.gross_mg + 30, fine(four) | {"Au": four.au_mg + 30})],
        losses=(Lose(Cause.LINING, -30, {"Au": -30}),),
    )  # fmt: skip


def _counted(scene):
    """A lot that was divided, then counted; and a settled receipt that nothing was made of."""
    (lot,) = builders.ready(100)
    part = step(Kind.DIVIDE, [Take(lot.number, 30_000)], [Make(Form.GRANULES, 30_000, {"Au": 24_000, "Ag": 4_500})])
    left = builders.fresh(lot.number)
    counted = correct_lot(
        lot=left.number, gross_mg=left.gross_mg - 5, fine_mg=fine(left), book_mg=left.columns_mg, at=now(),
        reason="Stocktake", countersign=Signature(scene.mona, "Counted"), by=people.matt_accountant(),
    )  # fmt: skip
    reverse(operation=operation(part), reason="Not divided", at=now(), by=scene.otto)
    scene.counted = operation(counted)
    import_history(lines=PAST)
    settling.terms(Party.objects.get(code="P-77"), since=date(2023, 1, 1))
    settling.settled(builders.fresh("OLD-X"), Outturn.METAL)
