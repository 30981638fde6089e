"""Metal found again in a lining or on a floor: gathered, weighed, sampled, assayed, taken back from what was lost."""

from datetime import timedelta

import pytest
from django.utils import timezone

from custody import errors
from custody.actions import _post
from custody.actions._sign import Signature
from custody.actions.assay import accept, determine
from custody.actions.work import Lose, Make, Take, record_step, reverse
from custody.models import Lot, Movement, Operation, Weighing
from custody.queries import laboratory, sampling, trace
from custody.queries.recovery import gathered, lost_since
from custody.queries.verify import verify
from custody.terms import Cause, Form, Kind
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db

PAGE = "/plant/clean-out/"


def lost(lot, gold_mg: int, cause: Cause = Cause.LINING):
    """The lot melted; so much of its gold stays in the furnace and is declared."""
    return record_step(
        kind=Kind.MELT,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, lot.gross_mg - gold_mg, {"Au": lot.au_mg - gold_mg, "Ag": lot.ag_mg})],
        losses=(Lose(cause, gold_mg, {"Au": gold_mg}),),
        at=timezone.now(),
        by=people.otto_operator(),
        reason="An old lining",
    )


def two_owners():
    """Lots of two parties, 600 mg of gold of the one and 200 mg of the other's lost in the lining."""
    made = []
    for code, mg in (("P-01", 600), ("P-02", 200)):
        (lot,) = builders.received(1_000_000, of=people.party(code))
        lot = builders.handed_over(builders.released(builders.valued(lot)), people.otto_operator())
        made.append((lot, lost(lot, mg)))
    return made


def cleaned(gross_mg: int = 5_000, cause: Cause = Cause.LINING, **changes):
    said = {
        "kind": Kind.CLEAN_OUT,
        "inputs": [],
        "outputs": [Make(Form.LINING, gross_mg)],
        "losses": (Lose(cause, -gross_mg, {}, "hearth"),),
        "place": builders.place("FURNACE-1"),
        "at": timezone.now(),
        "by": people.otto_operator(),
    }
    posted = record_step(**said | changes)
    return builders.fresh(posted.lots[0])


def assayed(lot, au_ppm: int, **more):
    found = determine(lot=lot, ppm={"Au": au_ppm}, method="fire assay", at=timezone.now(), by=people.anna_assayer())
    return accept(determination=found, at=timezone.now(), by=people.ada_assayer(), **more)


def share(lot, origin) -> int:
    return sum(one.mg for one in trace.origins_of(lot) if one.metal == "Au" and one.origin == origin.number)


def fates(lot) -> dict[str, int]:
    found = {}
    for one in trace.fates_of(lot):
        if one.metal == "Au":
            found[one.cause or one.fate] = found.get(one.cause or one.fate, 0) + one.mg
    return found


def test_what_was_gathered_comes_back_to_the_origins_that_lost_it():
    (first, _), (second, _) = two_owners()
    lot = cleaned()
    assert (lot.columns_mg, lot.form, lot.owner) == ((5_000, 0, 0, 0, 0, 0), "lining", None)
    assayed(lot, 80_000)  # 400 mg of 800: half of what each lost
    lot = builders.fresh(lot.number)
    assert lot.au_mg == 400
    assert (share(lot, first), share(lot, second)) == (300, 100)
    assert fates(first) == {"stock": 799_700, "furnace lining": 300}
    assert fates(second) == {"stock": 799_900, "furnace lining": 100}
    assert verify().ok


def test_more_than_was_lost_is_a_difference_that_a_manager_signs():
    two_owners()
    lot = cleaned()
    with pytest.raises(errors.CountersignatureNeeded):
        assayed(lot, 200_000)  # 1,000 mg: 200 more than was ever declared
    again = determine(lot=lot, ppm={"Au": 200_000}, method="fire assay", at=timezone.now(), by=people.anna_assayer())
    accept(
        determination=again, at=timezone.now(), by=people.ada_assayer(), reason="Assayed twice",
        countersign=Signature(people.mona_manager(), "Seen both assays"),
    )  # fmt: skip
    lot = builders.fresh(lot.number)
    assert lot.au_mg == 1_000
    assert sum(one.mg for one in trace.origins_of(lot) if one.difference) == 200
    assert verify().ok


def test_a_second_clean_out_finds_only_what_was_lost_since():
    (lot, _), _ = two_owners()
    assayed(cleaned(), 80_000)
    (one,) = lost_since([Cause.LINING])
    assert (one.metals_mg, bool(one.recovered_at)) == ((0, 0, 0, 0, 0), True)
    (third,) = builders.ready()
    lost(third, 100)
    second = cleaned()
    assayed(second, 10_000)
    assert fates(third) == {"stock": 799_950, "furnace lining": 50}
    assert fates(lot) == {"stock": 799_700, "furnace lining": 300}
    assert verify().ok


def test_samples_of_what_was_gathered_have_their_metal_with_it():
    two_owners()
    lot = builders.handed_over(cleaned(), people.sam_sampler())
    drawn = record_step(
        kind=Kind.SAMPLE, inputs=[Take(lot.number, 1_000)], outputs=[Make(Form.SAMPLE, 1_000)], at=timezone.now(),
        by=people.sam_sampler(),
    )  # fmt: skip
    assayed(builders.fresh(lot.number), 80_000)
    assert [builders.fresh(number).au_mg for number in (lot.number, drawn.lots[0])] == [320, 80]
    assert verify().ok


def test_a_clean_out_and_its_valuation_are_undone_in_turn():
    (first, _), _ = two_owners()
    lot = cleaned()
    valued = assayed(lot, 80_000)
    made = Operation.objects.get(created_lots=lot)
    undo = {"reason": "Wrong lot", "by": people.mona_manager()}
    with pytest.raises(errors.Refusal):
        reverse(operation=made, at=timezone.now(), **undo)
    reverse(operation=Operation.objects.get(pk=valued.id), at=timezone.now(), **undo)
    assert fates(first)["furnace lining"] == 600
    reverse(operation=made, at=timezone.now(), **undo)
    assert builders.fresh(lot.number).gross_mg == 0
    assert lost_since([Cause.LINING])[0].metals_mg[0] == 800
    again = cleaned()
    assayed(again, 160_000)
    assert fates(first) == {"stock": 800_000}
    assert verify().ok


def test_it_says_where_and_brings_no_metal_of_its_own():
    two_owners()
    with pytest.raises(errors.UnknownPlace):
        cleaned(place=None)
    with pytest.raises(errors.NotValued):
        cleaned(
            outputs=[Make(Form.LINING, 5_000, {"Au": 400})],
            losses=(Lose(Cause.LINING, -5_000, {"Au": -400}),),
        )
    with pytest.raises(errors.NoInputs):
        cleaned(kind=Kind.MELT)


def test_metal_does_not_leave_by_a_clean_out_unseen():
    (lot,) = builders.ready()
    with pytest.raises(errors.CountersignatureNeeded):
        cleaned(
            inputs=[Take(lot.number)],
            outputs=[Make(Form.SWEEPINGS, 1_000)],
            losses=(Lose(Cause.THEFT, 999_000, {"Au": 800_000, "Ag": 150_000}),),
        )


def test_what_was_lost_in_a_closed_month_is_found_in_the_open_one():
    now = timezone.now()
    then = now.replace(day=1, hour=0, minute=0) - timedelta(days=3)
    (lot,) = builders.ready(at=then)
    _post.post(
        {
            "kind": "melt", "at": then, "by": people.otto_operator().pk, "inputs": [{"lot": lot.number}],
            "outputs": [{"form": "melt", "gross_mg": 999_700, "fine_mg": {"Au": 799_700, "Ag": 150_000}}],
            "losses": [{"cause": "furnace lining", "gross_mg": 300, "fine_mg": {"Au": 300}}],
        }
    )  # fmt: skip
    _post.call("custody_close_period", then.replace(day=1).date(), people.mona_manager().pk)
    assayed(cleaned(), 40_000)
    assert fates(lot) == {"stock": 799_900, "furnace lining": 100}
    assert verify().ok


# Through the screens


def entry(**changes):
    rows = {"out": [{"form": "lining", "scale": "SHOP-1", "gross": "12.34", "tare": "2.34", "place": "STRONG"}]}
    said = {"cause": "furnace lining", "place": str(builders.place("FURNACE-1").pk), "words": "hearth of furnace 1"}
    return body(rows=rows, **said | changes)


def test_gathered_weighed_and_assayed_from_desk_to_desk():
    two_owners()
    builders.scale("SHOP-1")
    builders.places()
    otto = people.signed_in(people.otto_operator())
    page = otto.get(PAGE).content.decode()
    assert "furnace lining" in page
    assert "0.800" in page, "what was declared lost in the lining stands there"
    data = entry()
    number = sent(otto, PAGE, data)
    assert sent(otto, PAGE, data) == number
    (lot,) = Lot.objects.filter(created_by__number=number)
    assert (lot.gross_mg, lot.place.code, lot.form) == (10_000, "STRONG", "lining")
    weighing = Weighing.objects.get(lot=lot)
    assert (weighing.scale.code, weighing.net_mg, weighing.tare_mg) == ("SHOP-1", 10_000, 2_340)
    line = Movement.objects.get(operation__number=number, side="loss")
    assert (line.what, line.words, line.gross_mg) == ("furnace lining", "hearth of furnace 1", -10_000)
    # The sampler and the laboratory see it as a lot that waits for its assay, with samples or without.
    assert lot.number in people.signed_in(people.sam_sampler()).get("/sampling/").content.decode()
    assert lot.number in people.signed_in(people.anna_assayer()).get("/laboratory/").content.decode()
    sam = people.sam_sampler()
    lot = builders.handed_over(lot, sam, "LAB")
    builders.scale("BENCH-2")
    pin = {"purpose": "laboratory", "gross": "1", "seal": "", "position": ""}
    rows = {"in": [{}], "out": [pin], "loss": []}
    drawing = body(rows=rows, cut="drill", scale="BENCH-2", witness="")
    drawn = sent(people.signed_in(sam), f"/laboratory/sample/{lot.number}/", drawing)
    (sample,) = Lot.objects.filter(created_by__number=drawn)
    assert sample not in sampling.remainders(sam), "it waits for its assay"
    assert [one.drawn for one in sampling.to_sample(sam)] == [1]
    assert lot in laboratory.unvalued(sam)
    anna = people.signed_in(people.anna_assayer())
    said = {"method": "fire assay by cupellation", "Au": "20", "note": ""}
    answer = anna.post(f"/laboratory/determine/{lot.number}/", body(**said, sample=sample.number))
    assert answer.status_code == 302, faults(answer)
    found = builders.fresh(lot.number).determinations.get()
    ada = people.signed_in(people.ada_assayer())
    assert ada.get(f"/laboratory/accept/{found.number}/").status_code == 200
    answer = ada.post(f"/laboratory/accept/{found.number}/", body(reason=""))
    assert answer.status_code == 302, faults(answer)
    assert [builders.fresh(one.number).au_mg for one in (lot, sample)] == [180, 20]
    assert lot not in laboratory.unvalued(sam)
    assert sample in sampling.remainders(sam)
    assert not gathered(sam)
    assert verify().ok


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"place": ""}, "Place is missing"),
        ({"cause": ""}, "missing"),
        ({"cause": "moisture"}, "Select a valid choice"),
        ({"cause": "other", "words": ""}, "Another cause is said in words"),
        ({"out-0-gross": "-1"}, "is negative"),
        ({"out-0-gross": ""}, "missing"),
        ({"out-0-tare": "99"}, "not less than the gross"),
        ({"out-0-scale": ""}, "choose the scale"),
        ({"out-0-scale": "", "out-0-tare": ""}, "write here how its weight is known"),
    ],
)
def test_bad_input(changes, sentence):
    builders.scale("SHOP-1")
    builders.places()
    answer = people.signed_in(people.otto_operator()).post(PAGE, entry() | changes)
    assert answer.status_code == 200
    assert sentence in faults(answer), faults(answer)
    assert not Operation.objects.filter(kind=Kind.CLEAN_OUT).exists()


def test_only_who_refines_cleans_out():
    for person in people.EVERYBODY:
        user = person()
        status = people.signed_in(user).get(PAGE).status_code
        assert status == (200 if user.username == "otto" else 403), user
