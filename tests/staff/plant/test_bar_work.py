"""From strip to stamped bars: metals follow the weights, light blanks are remelted, what comes off goes to stock."""

import pytest
from django.utils import timezone

from custody.actions.bar_types import lay_usual_bar_types
from custody.actions.work import Make, Take, record_step
from custody.models import Bar, BarType, Operation
from custody.queries.verify import verify
from custody.terms import Form, Kind
from tests import builders, people
from tests.staff.plant.posting import body, faults, sent

pytestmark = pytest.mark.django_db


@pytest.fixture
def client():
    builders.places()
    builders.scale("SHOP-1")
    return people.signed_in(people.otto_operator())


def gold(grams, **ppm):
    (lot,) = builders.ready(grams, where="SHOP", **(ppm or {"Au": 999_900}))
    return lot


def made(form, *grams, lot=None):
    """Strips or blanks of these weights in grams, of a parcel of their own (of fine gold)."""
    lot = lot or gold(sum(grams))
    kind = Kind.CAST_STRIP if form is Form.STRIP else Kind.PUNCH
    outs = [Make(form, gram * 1000, {"Au": gram * 1000 * lot.au_mg // lot.gross_mg}) for gram in grams]
    posted = record_step(
        kind=kind, inputs=[Take(lot.number)], outputs=outs, at=timezone.now(), by=people.otto_operator()
    )
    return [builders.fresh(number) for number in posted.lots]


def rows(**lines):
    return {"in": [], "rest": [], "loss": []} | lines


def step(slug, lines, **fields):
    return f"/plant/bars/{slug}/", body(rows=rows(**lines), scale="SHOP-1", **fields)


def lots_of(number):
    return list(Operation.objects.get(number=number).created_lots.order_by("id"))


def test_strip_is_cast_with_flux_and_slag_lost(client):
    lot = gold(300)
    lines = {
        "in": [{"lot": lot.number}], "out": [{"gross": "150"}, {"gross": "120"}],
        "rest": [{"form": "melt", "gross": "29.97"}],
        "add": [{"what": "flux", "gross": "5"}], "loss": [{"cause": "slag", "gross": "5.03", "Au": "0.005"}],
    }  # fmt: skip
    one, two, rest = lots_of(sent(client, *step("cast-strip", lines)))
    assert [lot.form for lot in (one, two, rest)] == ["strip", "strip", "melt"]
    assert one.au_mg + two.au_mg + rest.au_mg == lot.au_mg - 5
    assert one.weighings.get().net_mg == 150_000


def test_a_strip_is_rolled_and_its_ends_go_to_stock(client):
    (strip,) = made(Form.STRIP, 150)
    lines = {"in": [{"lot": strip.number, "gross": "147.5"}], "rest": [{"form": "skeleton", "gross": "2.5"}]}
    rolled, ends = lots_of(sent(client, *step("roll", lines)))
    assert (rolled.form, ends.form, rolled.au_mg + ends.au_mg) == ("strip", "skeleton", strip.au_mg)


def test_blanks_are_punched_each_weighed_and_rows_laid_out(client):
    (strip,) = made(Form.STRIP, 150)
    address, data = step("punch", {"in": [{"lot": strip.number}], "out": [{"gross": "10.02"}]}, count="9", lay="1")
    page = client.post(address, data)
    assert len(page.context["row_sets"][1].shown) == 10
    assert page.context["row_sets"][1].forms[0]["gross"].value() == "10.02"
    lines = {
        "in": [{"lot": strip.number}],
        "out": [{"gross": "10.02"}] * 10,
        "rest": [{"form": "skeleton", "gross": "49.8"}],
    }
    *blanks, skeleton = lots_of(sent(client, *step("punch", lines)))
    assert [blank.form for blank in blanks] == ["blank"] * 10
    assert sum(blank.au_mg for blank in blanks) + skeleton.au_mg == strip.au_mg
    shop = client.get("/plant/bars/").content.decode()
    assert f"/plant/bars/adjust/?of={blanks[0].created_by.number}" in shop


def test_annealing_leaves_the_weights(client):
    one, two = made(Form.BLANK, 10, 10)
    lines = {"in": [{"lot": one.number, "gross": ""}, {"lot": two.number, "gross": ""}]}
    after = lots_of(sent(client, *step("anneal", lines)))
    assert [(lot.form, lot.columns_mg) for lot in after] == [("blank", lot.columns_mg) for lot in (one, two)]


def test_blanks_are_filed_to_their_weight_and_the_filings_are_a_lot(client):
    lay_usual_bar_types(by=None)
    ten = BarType.objects.get(code="AU-10")
    blanks = made(Form.BLANK, 11, 11)
    page = client.get(f"/plant/bars/adjust/?of={blanks[0].created_by.number}")
    assert page.context["form"].initial["bar_type"] == ten
    assert "File off 0.990 g at least, 1.000 g at most" in page.content.decode()
    lines = {
        "in": [
            {"lot": blank.number, "before": "11", "gross": after}
            for blank, after in zip(blanks, ("10.005", "10.01"), strict=True)
        ],
        "rest": [{"form": "filings", "gross": "1.98"}], "loss": [{"cause": "sweepings", "gross": "0.005"}],
    }  # fmt: skip
    *filed, filings = lots_of(sent(client, *step("adjust", lines, bar_type=ten.pk)))
    assert [lot.gross_mg for lot in filed] == [10_005, 10_010]
    assert (filings.form, filings.gross_mg) == ("filings", 1_980)
    assert sum(lot.au_mg for lot in (*filed, filings)) == sum(lot.au_mg for lot in blanks) - 5
    assert [weighing.net_mg for weighing in blanks[0].weighings.all()][-1] == 11_000
    assert all(check.holds for check in verify().checks.values())


@pytest.mark.parametrize(
    ("after", "sentence"),
    [
        ("9.999", "0.001 g too little: a bar is never below its weight. Remelt it"),
        ("10.011", "0.001 g more than 10 g gold may: file on"),
        ("", "Its weight afterwards is missing"),
        ("1001", "Use another scale"),
    ],
)
def test_a_blank_outside_its_type_is_told_at_its_row(client, after, sentence):
    lay_usual_bar_types(by=None)
    (blank,) = made(Form.BLANK, 11)
    lines = {"in": [{"lot": blank.number, "gross": after}], "rest": [{"form": "filings", "gross": "1"}]}
    answer = client.post(*step("adjust", lines, bar_type=BarType.objects.get(code="AU-10").pk))
    (errors,) = [row.errors for row in answer.context["row_sets"][0].filled]
    assert sentence in str(errors)
    assert builders.fresh(blank.number).gross_mg == 11_000


def test_what_is_not_explained_is_told_in_grams_and_everything_kept(client):
    (blank,) = made(Form.BLANK, 11)
    lines = {"in": [{"lot": blank.number, "gross": "10"}], "rest": [{"form": "filings", "gross": "0.9"}]}
    answer = client.post(*step("adjust", lines))
    assert "0.100 g still to explain" in answer.content.decode()
    assert 'value="0.9"' in answer.content.decode()


def stamping(lots, *bars, **more):
    return step(
        "stamp", {"in": [{"lot": lot.number} for lot in lots], "bar": list(bars), **more.pop("lines", {})}, **more
    )


def test_single_blanks_become_bars_one_to_one(client):
    lay_usual_bar_types(by=None)
    ten = BarType.objects.get(code="AU-10")
    (poor,), (fine,) = made(Form.BLANK, 10, lot=gold(10, Au=999_950)), made(Form.BLANK, 10)
    page = client.get(f"/plant/bars/stamp/?lot={poor.number}&lot={fine.number}")
    assert (page.context["form"].initial["bar_type"], page.context["form"].initial["count"]) == (ten, 2)
    laid = client.post(*stamping([poor, fine], lay="1", count="2", bar_type=ten.pk))
    assert [row["serial"].value() for row in laid.context["row_sets"][1].forms] == ["A000001", "A000002"]
    bars = [{"serial": "A000001", "gross": "10"}, {"serial": "A000002", "gross": "10.000"}]
    one, two = lots_of(sent(client, *stamping([poor, fine], *bars, bar_type=ten.pk)))
    assert (one.au_mg, two.au_mg) == (poor.au_mg, fine.au_mg), "each bar holds the metal of its own blank"
    assert {one.bar.bar_type, two.bar.bar_type} == {ten}


def test_blanks_that_were_weighed_together_become_bars_and_a_rest(client):
    (blanks,) = made(Form.BLANK, 31)
    bars = [{"serial": f"A00000{n}", "gross": "10.005"} for n in range(3)]
    lines = {"rest": [{"form": "blank", "gross": "0.985"}]}
    *stamped, rest = lots_of(sent(client, *stamping([blanks], *bars, lines=lines)))
    assert (rest.form, rest.gross_mg, len(stamped)) == ("blank", 985, 3)
    assert sum(lot.au_mg for lot in (*stamped, rest)) == blanks.au_mg


def test_what_cannot_be_stamped(client):
    lay_usual_bar_types(by=None)
    ten, blanks = BarType.objects.get(code="AU-10"), made(Form.BLANK, 10, 10, 10)
    bar = {"serial": "A000001", "gross": "10"}
    odd = client.post(*stamping(blanks, bar, {"serial": "A000002", "gross": "20"}))
    assert "3 blanks go in and 2 bars come out" in faults(odd)
    light = client.post(*stamping(blanks[:1], bar | {"gross": "9.9"}, bar_type=ten.pk))
    assert "Remelt it" in light.content.decode()
    poor = made(Form.BLANK, 10, lot=gold(10, Au=999_000))
    weak = client.post(*stamping(poor, bar, bar_type=ten.pk))
    assert "holds less fine metal than 10 g gold asks" in faults(weak)
    nameless = client.post(*stamping(blanks[:1], {"serial": "", "gross": "10"}))
    assert "Serial is missing" in nameless.content.decode()
    gone = client.post(*stamping([], bar, lines={"in": [{"lot": "L-NONE"}]}))
    assert "There is no lot L-NONE" in gone.content.decode()
    assert not Bar.objects.exists()


def test_a_stamping_sent_twice_is_recorded_once(client):
    (blank,) = made(Form.BLANK, 10)
    address, data = stamping([blank], {"serial": "A000001", "gross": "10"})
    assert sent(client, address, data) == sent(client, address, data)
    assert Bar.objects.count() == 1


PAGES = ("cast-strip", "roll", "punch", "anneal", "adjust", "stamp")


def test_who_may(client):
    for person in people.EVERYBODY:
        user = person()
        browser, works = people.signed_in(user), user.username == "otto"
        assert browser.get("/plant/bars/").status_code == (200 if person in people.STAFF else 403), user
        for slug in PAGES:
            assert browser.get(f"/plant/bars/{slug}/").status_code == (200 if works else 403), (user, slug)
    assert client.get("/plant/bars/forge/").status_code == 404
