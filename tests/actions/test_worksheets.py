"""Worksheets: published examples through readings, results and report; what is kept, refused, and said twice."""

from uuid import uuid4

import pytest
from django.utils import timezone
from uncertainties import ufloat

from custody.actions.assay import accept, assay_again, determine
from custody.actions.report import Said, report
from custody.actions.work import Make, Take, record_step
from custody.actions.worksheets import Pieces, discard_piece, enter_proof_metal, import_readings, record_readings
from custody.calc.refusals import Refused
from custody.calc.worksheet_file import Read
from custody.errors import Refusal
from custody.models import Determination, RepeatOrder, Worksheet, WorksheetReading
from custody.queries import laboratory
from custody.queries.worksheets import book_of, expected, open_worksheets, repeats_waiting, worked_on
from custody.terms import Form, Kind, Method, PieceRole, ReadingOf
from tests import builders, charges, people
from tests.calc.published import cases
from tests.charges import CL, A, B, C, P, V

pytestmark = pytest.mark.django_db
SAMPLE, PROOF, STANDARD = PieceRole.SAMPLE, PieceRole.PROOF, PieceRole.STANDARD
SILVER, SILVER_PROOF = PieceRole.SILVER_SAMPLE, PieceRole.SILVER_PROOF


@pytest.fixture
def lot():
    builders.places()
    return builders.received()[0]


def results(worksheet, lot, **agreed):
    return book_of(worksheet).results(agreed)[lot.number]


@pytest.mark.parametrize("case", cases("assay", "surcharge"))
def test_gold_by_the_proof_of_a_handbook(lot, case):
    (piece,), (proof,) = case["pieces"], case["proofs"]
    worksheet = charges.opened(Pieces(lot), proofs=1)
    charges.read(worksheet, PROOF, {P: proof["taken_ug"], C: proof["cornet_ug"]})
    charges.read(worksheet, SAMPLE, *[{P: piece["sample_ug"], C: piece["cornet_ug"]}] * 2)
    made = charges.reported(worksheet, lot).determinations[0]
    assert made.au_ppm == case["mean_ppm"]
    assert (made.worksheet, made.by, made.method) == (worksheet, people.anna_assayer(), "fire assay by cupellation")
    (result,) = results(worksheet, lot)
    assert result.pieces[0].words == "(450.400 − 0.0900) ÷ 500.000 × 1000 = 900.62 ‰"


@pytest.mark.parametrize("case", cases("assay", "silver_by_checks"))
def test_silver_by_the_checks_of_a_handbook(lot, case):
    """Four assays spread 1.4 per mille: the house agrees so much for two, which is 1.8 for four."""
    worksheet = charges.opened(Pieces(lot, 4), metal="Ag", silver_proofs=2)
    charges.read(worksheet, SILVER_PROOF, *({P: one["taken_ug"], B: one["cornet_ug"]} for one in case["proofs"]))
    charges.read(worksheet, SILVER, *({P: one["sample_ug"], B: one["cornet_ug"]} for one in case["pieces"]))
    made = charges.reported(worksheet, lot, agreed_ppm={"Ag": 1_400}).determinations[0]
    assert made.ag_ppm == case["mean_ppm"]
    assert abs(made.ag_ppm - case["printed_ppm"]) <= case["printed_within_ppm"]
    assert "Limit for two: limit agreed in the house" in made.note


def test_silver_as_chloride_by_a_handbook(lot):
    rows = [case for case in cases("silver", "as_chloride") if case["factor"] == "HANDBOOK"]
    worksheet = charges.opened(Pieces(lot, len(rows)), method=Method.GRAVIMETRY, metal="Ag")
    charges.read(worksheet, SAMPLE, *({P: one["sample_ug"], CL: one["chloride_ug"]} for one in rows))
    made = charges.reported(worksheet, lot, agreed_ppm={"Ag": 300}).determinations[0]
    printed = sum(one["ppm"] for one in rows) // len(rows)
    assert printed == 925_000
    assert abs(made.ag_ppm - printed) <= 100, "today's factor is 0.752648, the handbook's 0.7527"


@pytest.mark.parametrize("case", cases("silver", "gay_lussac"))
def test_silver_by_salt_by_a_handbook(lot, case):
    worksheet = charges.opened(lot, method=Method.SALT_TITRATION, metal="Ag", standards=1)
    charges.read(worksheet, STANDARD, {P: case["standard_ug"], V: case["standard_weak_ul"]})
    charges.read(worksheet, SAMPLE, *[{P: case["sample_ug"], V: case["weak_ul"]}] * 2)
    made = charges.reported(worksheet, lot, agreed_ppm={"Ag": 1_000}).determinations[0]
    assert made.ag_ppm == case["ppm"]
    assert abs(made.ag_ppm - case["printed_ppm"]) <= case["printed_within_ppm"]
    assert "100 + (7.000 − 1.5) ÷ 10 = 100.5500 mL" in results(worksheet, lot)[0].pieces[0].words


@pytest.mark.parametrize("case", cases("high_purity", "by_difference"))
def test_high_purity_by_its_impurities(lot, case):
    worksheet = charges.opened(lot, method=Method.ICP, metal=case["metal"])
    lines = [f"{worksheet.number},{place},{name},{mg}" for place in (1, 2) for name, mg in case["mg_per_kg"].items()]
    text = "\n".join(["worksheet,position,element,mg_per_kg", *lines])
    import_readings(worksheet=worksheet, name="icp.csv", text=text, at=timezone.now(), by=people.anna_assayer())
    (result,) = results(worksheet, lot)
    assert result.mean_ppm == int(float(case["fineness"]) * 1000 + 0.5)
    assert "undetected counted at the limit" in result.pieces[0].words
    assert "No limit is known" in result.verdict, "a limit has to be agreed, never guessed"


def test_silver_by_difference(lot):
    """Bead 950 per mille of the sample corrected for 2 per cent lost in the fire; 800 of it gold."""
    worksheet = charges.opened(Pieces(lot, 2, 2), proofs=1, silver_proofs=2)
    charges.read(worksheet, PROOF, {P: 200_000, A: 500_000, B: 700_000, C: 200_000})
    charges.read(worksheet, SILVER_PROOF, *[{P: 250_000, B: 245_000}] * 2)
    charges.read(worksheet, SAMPLE, *[{P: 250_000, A: 460_000, B: 690_000, C: 200_000}] * 2)
    charges.read(worksheet, SILVER, {P: 250_000, B: 232_500}, {P: 250_000, B: 232_525})
    gold, silver = results(worksheet, lot, Ag=1_000)
    assert (gold.mean_ppm, silver.mean_ppm) == (800_000, 150_050)
    assert silver.pieces[0].words.endswith("less 800.0 ‰ of gold = 150.0 ‰")
    made = charges.reported(worksheet, lot, agreed_ppm={"Ag": 1_000}).determinations[0]
    assert made.ppm == (800_000, 150_050, 0, 0, 0)
    assert made.expanded_ppb[1] > made.expanded_ppb[0] > 0


def test_the_uncertainty_is_the_packages(lot):
    """As the package propagates it: balance step 1 ug twice and 3 ug found at its check, purity ± 100 ppm (k = 2)."""
    builders.check(builders.scale("BAL-1"), off_ug=3)
    worksheet = charges.opened(lot, proofs=2, purity_ppm=999_900, uncertainty_ppm=100)
    charges.read(worksheet, PROOF, {P: 230_000, C: 230_020}, {P: 231_000, C: 231_040})
    charges.read(worksheet, SAMPLE, {P: 250_000, C: 229_100}, {P: 251_000, C: 230_100})
    (result,) = results(worksheet, lot)
    weighing = (2 / 12 + 3**2 / 3) ** 0.5
    purity = ufloat(999_900, 50)
    mean_surcharge = sum(
        ufloat(cornet, weighing) - ufloat(taken, weighing) * purity / 1_000_000
        for taken, cornet in ((230_000, 230_020), (231_000, 231_040))
    ) / 2  # fmt: skip
    fire = 500 / (1.96 * 2**0.5)
    mean = sum(
        (ufloat(cornet, weighing) - mean_surcharge) * 1_000_000 / ufloat(sample, weighing) + ufloat(0, fire)
        for sample, cornet in ((250_000, 229_100), (251_000, 230_100))
    ) / 2  # fmt: skip
    assert result.expanded_ppb == pytest.approx(2 * mean.std_dev * 1000, abs=1)
    assert result.mean_ppm == pytest.approx(mean.nominal_value, abs=1)
    assert "repeatability from the method's limit (ISO 11426, from memory)" in result.uncertainty_words
    assert "found 3 µg off at its check" in result.uncertainty_words


def test_the_house_knows_its_repeatability_from_ten_pairs_on(lot):
    for _ in range(5):
        pair = builders.received(1_000_000, 1_000_000)
        worksheet = charges.opened(*pair)
        charges.read(worksheet, SAMPLE, *[{P: 250_000, C: 200_000}, {P: 250_000, C: 200_025}] * 2)
        charges.reported(worksheet, *pair)
    worksheet = charges.agreeing(lot)
    (result,) = results(worksheet, lot)
    assert "repeatability of 10 earlier pairs of the house, s = 70.7 ppm" in result.uncertainty_words, "100 / root 2"


def test_a_spread_past_the_limit_orders_a_repeat_until_a_later_worksheet_reports_the_lot(lot):
    viewer = people.anna_assayer()
    first = charges.agreeing(lot, cornets=(229_000, 229_126))
    assert [one.number for one in open_worksheets(viewer)] == [first.number]
    outcome = charges.reported(first, lot)
    assert not outcome.determinations
    (order,) = outcome.repeats
    assert (order.spread_ppm, order.allowed_ppm, order.metal) == (504, 500, "Au")
    assert order.sentence == "Au: The results lie 0.504 per mille apart; they may 0.5. Assay again in duplicate."
    assert [one.pk for one in repeats_waiting(viewer)] == [order.pk]
    assert not open_worksheets(viewer)
    charges.reported(charges.agreeing(lot), lot)
    assert not repeats_waiting(viewer)


def test_a_discarded_piece_counts_no_more_and_one_alone_is_repeated(lot):
    worksheet = charges.agreeing(lot)
    here = {"worksheet": worksheet, "at": timezone.now(), "by": people.anna_assayer()}
    with pytest.raises(Refusal, match="Say why"):
        discard_piece(position=2, reason=" ", **here)
    for _ in range(2):
        discard_piece(position=2, reason="spurted", **here)
    assert WorksheetReading.objects.filter(of="discarded").count() == 1
    with pytest.raises(Refusal, match="was discarded"):
        charges.read(worksheet, SAMPLE, {C: 1}, {}, reason="again")
    (order,) = charges.reported(worksheet, lot).repeats
    assert order.sentence == "Au: Only one piece stands. Assay again in duplicate."


def test_a_figure_is_replaced_only_with_a_reason_and_both_stay(lot):
    worksheet = charges.agreeing(lot)
    before = WorksheetReading.objects.count()
    assert charges.read(worksheet, SAMPLE, {C: 229_100}, {}) == 0, "what stands there already"
    with pytest.raises(Refusal, match="cornet at position 2 was read before"):
        charges.read(worksheet, SAMPLE, {C: 229_110}, {})
    assert charges.read(worksheet, SAMPLE, {C: 229_110}, {}, reason="cornet was still wet") == 1
    assert WorksheetReading.objects.count() == before + 1
    assert book_of(worksheet).sheet.pieces[1].readings[C] == 229_110


def test_readings_that_came_in_meanwhile_are_looked_at_first(lot):
    worksheet = charges.opened(lot)
    seen = book_of(worksheet).seen
    charges.read(worksheet, SAMPLE, {P: 250_000}, {P: 250_000})
    late = {"worksheet": worksheet, "at": timezone.now(), "by": people.anna_assayer()}
    with pytest.raises(Refusal, match="came in since"):
        record_readings(readings=[Read(1, C, 200_000)], seen=seen, **late)
    with pytest.raises(Refusal, match="came in since"):
        report(lots=[Said(lot.number)], seen=seen, request_key=uuid4(), **late)


def test_a_reported_reading_stays(lot):
    other = builders.received()[0]
    worksheet = charges.opened(lot, other, proofs=1)
    charges.read(worksheet, PROOF, {P: 230_000, C: 230_000})
    charges.read(worksheet, SAMPLE, *[{P: 250_000, C: 229_000}] * 2, lot=lot.number)
    charges.reported(worksheet, lot)
    charges.read(worksheet, SAMPLE, *[{P: 250_000, C: 229_000}] * 2, lot=other.number)
    for role, piece, of in ((PROOF, {C: 230_001}, ""), (SAMPLE, {C: 1}, lot.number)):
        pieces = [piece] if role is PROOF else [piece, {}]
        with pytest.raises(Refusal, match="is reported: its readings stay"):
            charges.read(worksheet, role, *pieces, lot=of, reason="wrong figure")


def test_a_report_sent_twice_is_one(lot):
    worksheet = charges.agreeing(lot)
    sent = {
        "worksheet": worksheet, "lots": [Said(lot.number)], "seen": book_of(worksheet).seen, "at": timezone.now(),
        "by": people.anna_assayer(), "request_key": uuid4(),
    }  # fmt: skip
    assert report(**sent) == report(**sent)
    with pytest.raises(Refusal, match="is reported from this worksheet already"):
        report(**sent | {"request_key": uuid4()})
    assert Determination.objects.count() == 1


def test_metals_of_another_worksheet_join_the_report(lot):
    silver = charges.opened(lot, method=Method.TITRATION, metal="Ag", standards=1)
    charges.read(silver, STANDARD, {P: 300_000, V: 30_000})
    charges.read(silver, SAMPLE, *[{P: 500_000, V: 4_000}] * 2)
    first = charges.reported(silver, lot, agreed_ppm={"Ag": 1_000}).determinations[0]
    assert first.ppm == (0, 80_000, 0, 0, 0), "4 mL of 10 mg each in 500 mg"
    made = charges.reported(charges.agreeing(lot), lot, others={"Cu": 3_500}).determinations[0]
    assert made.ppm == (916_500, 80_000, 0, 0, 3_500)
    assert f"Ag 80.0 ‰: from worksheet {silver.number} ({first.number})." in made.note
    assert "Cu 3.5 ‰: typed, from another assay." in made.note
    assert made.expanded_ppb[1] == first.expanded_ppb[1]
    with pytest.raises(Refusal, match="more than the whole"):
        charges.reported(charges.agreeing(lot), lot, others={"Cu": 10_000})


def test_the_sample_stands_for_its_lot(lot):
    sam = people.sam_sampler()
    held = builders.handed_over(lot, sam, "LAB")

    posted = record_step(
        kind=Kind.SAMPLE,
        inputs=[Take(held.number, 2_000)],
        outputs=[Make(Form.SAMPLE, 2_000)],
        at=timezone.now(),
        by=sam,
    )
    sample = builders.fresh(posted.lots[0])
    worksheet = charges.agreeing(sample)
    made = charges.reported(worksheet, lot).determinations[0]
    assert (made.lot, made.sample) == (lot, sample)
    with pytest.raises(Refusal, match="on the tray already"):
        charges.opened(sample, lot)


def test_what_a_lot_may_hold_says_how_much_silver_to_add(lot):
    assert expected([lot])[lot.number].ppm == (800_000, 0)
    charges.reported(charges.agreeing(lot), lot)
    assert expected([lot])[lot.number].ppm == (916_500, 0)


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"metal": "Cu"}, "does not find Cu"),
        ({"method": Method.ICP, "metal": "Au", "proofs": 1}, "has no proof"),
        ({"pieces": (0, 0)}, "has no piece"),
        ({"pieces": (0, 2)}, "needs the gold"),
        ({"pieces": (61, 0)}, "do not fit"),
        ({"method": Method.TITRATION, "metal": "Ag", "pieces": (2, 1)}, "Only a fire assay"),
    ],
)
def test_a_worksheet_that_cannot_be_is_refused(lot, changes, sentence):
    pieces = Pieces(lot, *changes.pop("pieces", (2, 0)))
    with pytest.raises((Refusal, Refused), match=sentence):
        charges.opened(pieces, **changes)
    assert not Worksheet.objects.exists()


def test_a_balance_that_was_not_checked_or_failed_weighs_nothing(lot):
    balance = builders.scale("BAL-1", checked=False)
    worksheet = charges.opened(lot, checked=False)
    with pytest.raises(Refusal, match="was not checked that day"):
        charges.read(worksheet, SAMPLE, {P: 250_000}, {})
    builders.check(balance, off_ug=100_000)
    with pytest.raises(Refusal, match="failed its last check"):
        charges.read(worksheet, SAMPLE, {P: 250_000}, {})
    builders.check(balance)
    with pytest.raises(Refusal, match="weighs up to 5000 mg"):
        charges.read(worksheet, SAMPLE, {P: 5_000_001}, {})
    charges.read(worksheet, SAMPLE, {P: 5_000_000}, {})


def test_a_determination_turned_down_leaves_the_list_and_cannot_be_accepted(lot):
    made = charges.reported(charges.agreeing(lot), lot).determinations[0]
    manager = people.mona_manager()
    say = {"determination": made, "at": timezone.now()}
    with pytest.raises(Refusal, match="second person"):
        assay_again(reason="too low", by=people.anna_assayer(), **say)
    with pytest.raises(Refusal, match="Say why"):
        assay_again(reason=" ", by=manager, **say)
    assert assay_again(reason="declared 850", by=manager, **say) == assay_again(reason="twice", by=manager, **say)
    assert not laboratory.waiting(manager)
    assert [one.sentence for one in repeats_waiting(manager)] == ["declared 850"]
    with pytest.raises(Refusal, match="was not accepted: the lot is assayed again"):
        accept(by=people.max_manager(), **say)
    assert RepeatOrder.objects.count() == 1


def test_whoever_weighed_a_piece_of_the_lot_does_not_accept_what_a_friend_typed(lot):
    charges.agreeing(lot)
    other = builders.received()[0]
    ada = people.ada_assayer()
    typed = determine(lot=lot, ppm={"Au": 1}, method="fire assay", at=timezone.now(), by=ada)
    free = determine(lot=other, ppm={"Au": 1}, method="fire assay", at=timezone.now(), by=ada)
    assert worked_on(typed, people.anna_assayer())
    assert not worked_on(free, people.anna_assayer())
    with pytest.raises(Refusal, match="second person"):
        accept(determination=typed, at=timezone.now(), by=people.anna_assayer())
    accept(determination=free, at=timezone.now(), by=people.anna_assayer())


def test_a_proof_metal_is_entered_once():
    charges.pure()
    with pytest.raises(Refusal, match="already"):
        enter_proof_metal(code="PAu-1000000-0", metal="Au", purity_ppm=1, by=people.anna_assayer())
    with pytest.raises(Refusal, match="may not determine"):
        enter_proof_metal(code="X", metal="Au", purity_ppm=1, by=people.otto_operator())


FILE = "worksheet,position,of,mg"


def imported(worksheet, text, reason=""):
    return import_readings(
        worksheet=worksheet, name="balance.csv", text=text.replace("W!", worksheet.number), at=timezone.now(),
        by=people.anna_assayer(), reason=reason,
    )  # fmt: skip


def test_a_file_is_read_whole_and_once(lot):
    worksheet = charges.opened(lot)
    text = f"\ufeff{FILE}\r\nW!,1,portion,250.013\r\nW!,2,portion,250.1\r\n\r\nW!,1,silver added,0\r\n"
    assert imported(worksheet, text) == 3
    assert imported(worksheet, text) is None
    assert WorksheetReading.objects.filter(imported__name="balance.csv").count() == 3
    assert worksheet.imports.get().text == text.replace("W!", worksheet.number)
    with pytest.raises(Refusal, match="portion at position 1 was read before"):
        imported(worksheet, f"{FILE}\nW!,1,portion,250.014")
    assert imported(worksheet, f"{FILE}\nW!,1,portion,250.014\nW!,2,portion,250.1", reason="door was open") == 1


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        ("W0-1,1,portion,250", "line 2: this is a reading of worksheet “W0-1”, not of W"),
        ("W!,9,portion,250", "line 2: worksheet W.* has no position “9”"),
        ("W!,x,portion,250", "line 2: The position “x” is not a plain number"),
        ("W!,1,portion,250,013", "line 2: 5 fields instead of 4. The decimal sign is a point"),
        ('W!,1,portion,"250,013"', "line 2: The portion “250,013” has a comma"),
        ("W!,1,portion,-1", "line 2: The portion “-1” is negative"),
        ("W!,1,portion,NaN", "line 2: The portion “NaN” is not a number"),
        ("W!,1,portion,1e400", "line 2: The portion “1e400” is written with an exponent"),
        ("W!,1,portion," + "9" * 30, "line 2: The portion .* is more than 1 kg"),
        ("W!,1,portion," + "9" * 1_000_000, "line 2: a field is longer than any reading"),
        ("W!,1,portion," + "9" * 1_000, "line 2: The portion is 1000 characters long"),
        ("W!,1,portion,0", "line 2: The portion is zero"),
        ("W!,1,portion,", "line 2: The portion is missing"),
        ("W!,1,portion,250.0001", "line 2: The portion .* has more than 3 decimals"),
        ("W!,1,weight,250", "line 2: “weight” is no weighing"),
        ("W!,1,silver chloride,250", "line 2: position 1 has no silver chloride"),
        ("W!,1,portion,250\nW!,1,portion,251", "line 3: position 1 has this reading in line 2 already"),
        ("", "line 2: there are no readings"),
    ],
)  # fmt: skip
def test_a_bad_line_refuses_the_file(lot, lines, sentence):
    worksheet = charges.opened(lot)
    text = f"{FILE}\n{lines}\nW!,2,portion,250" if lines else FILE
    with pytest.raises(Refused, match=sentence):
        imported(worksheet, text)
    assert not WorksheetReading.objects.exists()
    assert not worksheet.imports.exists()


@pytest.mark.parametrize(
    ("lines", "sentence"),
    [
        ("W!,1,Xx,1", "line 2: “Xx” is no element"),
        ("W!,1,Cu,<0", "line 2: A limit of detection is more than zero"),
        ("W!,1,Cu,1.2.3", "line 2: The Cu “1.2.3” is not a plain number"),
        ("W!,1,Cu,1000001", "line 2: An impurity is between 0"),
        ("W!,1,Cu,1\nW!,1,Au,999", "line 3: Au is no impurity of itself"),
    ],
)
def test_a_bad_impurity_refuses_the_file(lot, lines, sentence):
    worksheet = charges.opened(lot, method=Method.ICP)
    with pytest.raises(Refused, match=sentence):
        imported(worksheet, f"worksheet,position,element,mg_per_kg\n{lines}")


def test_a_volume_comes_in_millilitres(lot):
    worksheet = charges.opened(lot, method=Method.TITRATION, metal="Ag", standards=1)
    assert imported(worksheet, "worksheet,position,mL\nW!,1,30.05") == 1
    assert WorksheetReading.objects.get().value == 30_050
    assert WorksheetReading.objects.get().of == ReadingOf.VOLUME
