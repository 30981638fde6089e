"""The exchange of assays past every line of Python: sealed figures, who hands in, what values the lot."""

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import DatabaseError, connection, transaction
from django.utils import timezone
from hypothesis import strategies as st
from psycopg.types.json import Jsonb

from custody.actions.assay import accept, determine
from custody.actions.people import add_person
from custody.calc.exchange import UmpireRule
from custody.calc.fineness import parse_per_mille, parse_percent
from custody.errors import Refusal
from custody.models import Acceptance, Determination, Exchange, ExchangeResult
from custody.terms import Method, Role
from tests import builders, exchanges, people
from tests.calc.published import cases

CUSTOMERS = {"Au": 900_007, "Ag": 81_003}
finenesses = st.integers(0, 250_000)
limits = st.one_of(st.none(), st.integers(0, 5_000))
rules = st.sampled_from(UmpireRule)


def rule_of(act, *arguments, **more):
    """The rule by which an act is refused."""
    with pytest.raises(Refusal) as caught:
        act(*arguments, **more)
    return caught.value.code


def call(request):
    """custody_seal_result itself, as the application's role; the rule that refuses it, or None."""
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT custody_seal_result(%s)", [Jsonb(request)])
    except DatabaseError as error:
        return error.__cause__.diag.constraint_name or error.__cause__.sqlstate
    return None


def copied(determination, **changes):
    """A determination inserted past the action, as the application's role may."""
    changes = {"pk": None, "number": f"A-{uuid4()}", "request_key": None} | changes
    forged = Determination.objects.get(pk=determination.pk)
    for name, value in changes.items():
        setattr(forged, name, value)
    forged.save(force_insert=True)
    return Determination.objects.get(number=forged.number)


def request(exchange, side="customer", **changes):
    by = {"customer": people.cora_customer, "umpire": people.matt_accountant, "refinery": people.anna_assayer}
    asked = {"exchange": exchange.number, "side": side, "ppm": CUSTOMERS, "laboratory": "A", "by": by[side]().pk}
    return asked | changes


# What a result must be


@pytest.mark.parametrize(
    "changes",
    [
        {"exchange": "X99-00001"},
        {"side": "carrier"},
        {"laboratory": ""},
        {"ppm": {"Au": 900_000}},
        {"ppm": {"Au": -1, "Ag": 0}},
        {"ppm": {"Au": 900_000, "Ag": 100_001}},
    ],
)
def test_a_result_that_is_none(db, changes):
    exchange = exchanges.opened()
    assert call(request(exchange) | changes) == "exchange"
    assert not ExchangeResult.objects.exists()
    assert call(request(exchange)) is None, "the control"


def test_a_result_is_handed_in_once(db):
    exchange = exchanges.opened()
    exchanges.customer_in(exchange)
    assert rule_of(exchanges.customer_in, exchange, Au=1, Ag=1) == "sealed_once"
    exchanges.refinery_in(exchange)
    assert rule_of(exchanges.refinery_in, exchange) == "sealed_once"
    assert exchanges.seen(exchange).results["customer"].ppm == exchanges.INSIDE


def test_the_refinery_hands_in_a_determination_of_the_lot_as_it_is(db):
    exchange = exchanges.opened()
    own = exchanges.determined(exchange.lot)
    other = exchanges.determined(builders.received()[0])
    said = dict(zip(("Au", "Ag", "Pt", "Pd"), own.ppm, strict=False))
    refinery = request(exchange, "refinery", ppm=said)
    assert call(refinery) == "exchange"
    assert call(refinery | {"determination": other.pk}) == "exchange"
    assert call(refinery | {"determination": own.pk, "ppm": said | {"Au": 900_501}}) == "exchange"
    hinted = copied(own, method=Method.XRF)
    assert call(refinery | {"determination": hinted.pk}) == "indication_only"
    assert call(refinery | {"determination": own.pk}) is None


def test_an_umpire_is_asked_only_where_the_results_lie_apart(db):
    exchange = exchanges.opened()
    assert rule_of(exchanges.umpire_in, exchange, Au=900_500) == "no_umpire"
    exchanges.both_in(exchange)
    assert rule_of(exchanges.umpire_in, exchange, Au=900_500) == "no_umpire"


def test_the_umpire_answers_what_is_in_dispute(db):
    exchange = exchanges.both_in(theirs=exchanges.OUTSIDE)
    assert exchanges.seen(exchange).disputed == ["Au"]
    assert rule_of(exchanges.umpire_in, exchange, Ag=80_000) == "exchange"
    exchanges.umpire_in(exchange, Au=900_700)
    assert rule_of(exchanges.umpire_in, exchange, Au=900_700) == "sealed_once"


# Whose hands


def test_nobody_has_a_part_in_both_results(db):
    analyst, opener = people.anna_assayer(), people.fiona_frontdesk()
    exchange = exchanges.opened()
    exchanges.refinery_in(exchange)
    letter = request(exchange, by=analyst.pk)
    assert call(letter) == "sealed_by_another"
    assert call(letter | {"by": opener.pk}) is None
    turned = exchanges.opened(builders.received()[0])
    assert call(request(turned, by=analyst.pk)) is None
    assert rule_of(exchanges.refinery_in, turned) == "sealed_by_another"
    assert rule_of(exchanges.refinery_in, turned, by=analyst) == "sealed_by_another"


def test_who_opened_the_letter_does_not_choose_among_anothers_determinations(db):
    second = add_person(
        username="abel", full_name="Abel Cupel", password=people.PASSWORD, roles=[Role.ASSAYER],
        by=people.mona_manager(),
    )  # fmt: skip
    exchange = exchanges.opened()
    assert call(request(exchange, by=second.pk)) is None
    found = exchanges.determined(exchange.lot)
    said = dict(zip(("Au", "Ag", "Pt", "Pd"), found.ppm, strict=False))
    handing = request(exchange, "refinery", ppm=said, determination=found.pk)
    assert call(handing | {"by": second.pk}) == "sealed_by_another"
    assert call(handing) is None


@pytest.mark.parametrize("side", ["refinery", "customer", "umpire"])
def test_another_partys_person_hands_in_nothing(db, side):
    exchange = exchanges.opened()
    found = exchanges.determined(exchange.lot)
    if side == "umpire":
        exchanges.both_in(exchange, exchanges.OUTSIDE)
    said = dict(zip(("Au", "Ag", "Pt", "Pd"), found.ppm, strict=False))
    assert call(request(exchange, side, ppm=said, determination=found.pk, by=people.stranger().pk)) == "exchange"
    if side != "customer":
        assert (
            call(request(exchange, side, ppm=said, determination=found.pk, by=people.cora_customer().pk)) == "exchange"
        )


@pytest.mark.parametrize("person", [people.anna_assayer, people.fiona_frontdesk, people.matt_accountant])
def test_who_handed_anything_in_does_not_accept_what_it_came_to(db, person):
    exchange = exchanges.opened()
    exchanges.refinery_in(exchange)
    exchanges.letter_in(exchange)
    settled = exchanges.settled(exchange)
    with pytest.raises(DatabaseError) as caught, transaction.atomic():
        Acceptance.objects.create(determination=settled, by=person(), at=timezone.now())
    assert caught.value.__cause__.diag.constraint_name == "accepted_by_another"


# What values the lot


def test_a_lot_due_for_exchange_is_valued_by_nothing_else(db):
    lot = exchanges.due()
    assert rule_of(builders.valued, lot) == "exchange_due"
    exchange = exchanges.opened(lot)
    assert rule_of(builders.valued, lot) == "exchange_open"
    exchanges.both_in(exchange)
    assert rule_of(builders.valued, lot) == "exchange_open"
    lot = exchanges.valued(exchange)
    assert (lot.au_mg, lot.ag_mg, lot.cu_mg) == (900_250, 81_000, 15_000)


@pytest.mark.parametrize("change", [{}, {"au_ppm": 900_251}, {"ag_ppm": 81_001}, {"pd_ppm": 1}])
def test_a_determination_in_its_name_that_is_not_what_it_came_to(db, change):
    exchange = exchanges.both_in()
    forged = copied(exchanges.settled(exchange), **change)
    act = {"determination": forged, "at": timezone.now(), "by": people.mona_manager()}
    if change:
        assert rule_of(accept, **act) == "exchange_open"
    else:
        accept(**act)


@pytest.mark.parametrize(
    ("au_ppm", "ag_ppm", "counts"),
    [
        (849_900, 150_100, True),
        (849_250, 150_750, True),
        (849_899, 150_100, False),
        (849_900, 150_000, False),
        (849_575, 150_425, False),
    ],
)
def test_one_metal_gives_way_by_what_all_exceed_the_whole_and_no_more(db, au_ppm, ag_ppm, counts):
    exchange = exchanges.beyond_the_whole()
    forged = copied(exchanges.settled(exchange, gives_way="Ag"), au_ppm=au_ppm, ag_ppm=ag_ppm)
    act = {"determination": forged, "at": timezone.now(), "by": people.mona_manager()}
    if counts:
        accept(**act)
    else:
        assert rule_of(accept, **act) == "exchange_open"


def test_a_sealed_exchange_values_nothing_in_its_name(db):
    exchange = exchanges.opened()
    forged = copied(exchanges.refinery_in(exchange), exchange=exchange, method=Method.EXCHANGE)
    assert rule_of(accept, determination=forged, at=timezone.now(), by=people.mona_manager()) == "exchange_open"


def test_an_exchange_of_assays_is_no_method_of_the_laboratory(db):
    lot = builders.received()[0]
    typed = {"lot": lot, "ppm": exchanges.OURS, "at": timezone.now(), "by": people.anna_assayer()}
    assert rule_of(determine, method=Method.EXCHANGE, **typed) == "exchange_named"


def test_terms_of_the_day_of_the_receipt_decide(db):
    builders.refinery()
    day = timezone.localdate()
    first = builders.received()[0]
    exchanges.terms(since=day + timedelta(days=1))
    builders.valued(first)
    second = builders.received()[0]
    exchanges.terms(since=day - timedelta(days=1))
    assert rule_of(builders.valued, second) == "exchange_due"
    exchanges.terms(since=day, ended=True, au_limit_ppm=None, ag_limit_ppm=None)
    builders.valued(second)
    builders.valued(builders.received(of=people.party("P-02"))[0])


def test_an_exchange_is_opened_as_agreed(db):
    lot = exchanges.due()
    good = {"number": "X-1", "lot": lot, "party": lot.receipt.party, "at": timezone.now(), "by": people.anna_assayer()}
    good["terms"] = exchanges.terms()
    others = exchanges.terms(people.party("P-02"))
    for change in (
        {"terms": others},
        {"terms": others, "party": others.party},
        {"party": others.party},
        {"lot": builders.received(of=people.party("P-03"))[0]},
        {"at": timezone.now() + timedelta(days=1)},
    ):
        with pytest.raises(DatabaseError) as caught, transaction.atomic():
            Exchange.objects.create(**good | change)
        assert caught.value.__cause__.diag.constraint_name == "exchange"
    Exchange.objects.create(**good)


@pytest.mark.parametrize(
    ("changes", "rule"),
    [
        ({"au_limit_ppm": 1_000_001}, "splitting_limits"),
        ({"pd_limit_ppm": -1}, "splitting_limits"),
        ({"rule": "whoever shouts"}, "umpire_rule"),
        ({"umpire": "P-01"}, "umpire_is_a_third"),
    ],
)
def test_terms_that_are_none(db, changes, rule):
    if "umpire" in changes:
        changes = {"umpire": people.party("P-01")}
    assert rule_of(exchanges.terms, **changes) == rule


# Published cases


def read(results):
    return {metal: text and parse_per_mille(text) for metal, text in results.items()}


@pytest.mark.parametrize("case", cases("exchange", "splitting_limits"))
def test_published_splitting_limits(db, case):
    """Source: fixtures/published/exchange.json, one refiner's published terms."""
    agreed = {f"{metal.lower()}_limit_ppm": parse_percent(text) for metal, text in case["limits_percent"].items()}
    exchange = exchanges.opened(exchanges.due(**agreed))
    exchanges.refinery_in(exchange, **read(case["refinery"]))
    exchanges.customer_in(exchange, **read(case["customer"]))
    with connection.cursor() as cursor:
        cursor.execute("SELECT metal, settled_ppm FROM custody_exchange_outcome(%s)", [exchange.pk])
        assert {metal: ppm for metal, ppm in cursor.fetchall() if ppm != 0} == read(case["settled"])


# The days agreed


def test_after_the_days_agreed_the_refinerys_result_stands_alone(committed_db, owner_connection, superuser_connection):
    exchange = exchanges.opened(days=10)
    exchanges.refinery_in(exchange)
    assert not exchanges.seen(exchange).open
    owner = superuser_connection()
    owner.execute("SET session_replication_role = replica")

    def aged(days):
        owner.execute("UPDATE custody_sealedresult SET at = now() - make_interval(days => %s)", (days,))

    aged(10)
    assert not exchanges.seen(exchange).open
    aged(11)
    assert exchanges.seen(exchange).state.label == "open: refinery's alone"
    assert rule_of(exchanges.customer_in, exchange) == "exchange"
    lot = exchanges.valued(exchange)
    assert (lot.au_mg, lot.ag_mg) == (900_500, 80_000)
