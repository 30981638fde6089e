"""The laboratory's pages of the exchange of assays: who may, what is refused and kept, what the book then says."""

import uuid
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from custody.actions.assay import assay_again
from custody.actions.people import set_roles
from custody.actions.work import Make, Take, record_step
from custody.documents.fill_assay import assay_paper
from custody.models import Determination, Exchange, ExchangeTerms
from custody.queries.exchanges import terms_due
from custody.terms import Form, Kind, Method, Role
from tests import builders, exchanges, people

pytestmark = pytest.mark.django_db

LIST = "/laboratory/exchanges/"
KEEPERS = {people.anna_assayer, people.matt_accountant}
READ = (LIST, LIST + "{exchange}/")
ACTS = {
    LIST + "terms/P-01/": {people.matt_accountant},
    LIST + "open/{lot}/": KEEPERS,
    LIST + "refinery/{exchange}/": {people.anna_assayer},
    LIST + "letter/{exchange}/": {people.fiona_frontdesk, people.matt_accountant},
    LIST + "umpire/{exchange}/": {people.matt_accountant},
    LIST + "settle/{exchange}/": KEEPERS,
}


def text(answer):
    assert answer.status_code == 200
    return " ".join(answer.content.decode().split())


def page(address, person=people.anna_assayer):
    return text(people.signed_in(person()).get(address))


def send(person, address, **said):
    return people.signed_in(person()).post(address, {"request_key": uuid.uuid4()} | said)


def address_of(exchange, page=""):
    return f"{LIST}{page}{exchange.number}/"


LETTER = {"laboratory": "Tern Bay Assayers", "reference": "Letter 3", "Au": "900.0", "Ag": "82.0", "sure": "on"}


# Who may


@pytest.fixture
def names():
    exchange = exchanges.opened()
    return {"exchange": exchange.number, "lot": builders.received()[0].number}


@pytest.mark.parametrize("address", READ)
def test_staff_read_and_customers_do_not(names, address):
    for who in people.STAFF:
        assert people.signed_in(who()).get(address.format(**names)).status_code == 200
    for who in people.CUSTOMERS:
        assert people.signed_in(who()).get(address.format(**names)).status_code == 403
    assert Client().get(address.format(**names)).url.startswith("/sign-in/?next=/")


@pytest.mark.parametrize("address", ACTS)
def test_each_act_has_its_roles(names, address):
    for who in people.EVERYBODY:
        client = people.signed_in(who())
        expected = 200 if who in ACTS[address] else 403
        assert client.get(address.format(**names)).status_code == expected, who.__name__
        if expected == 403:
            assert client.post(address.format(**names), {}).status_code == 403, who.__name__


def test_what_is_not_there_is_not_there():
    for address in ("X99-1/", "refinery/X99-1/", "letter/X99-1/", "umpire/X99-1/", "settle/X99-1/", "open/L-0/"):
        assert people.signed_in(people.anna_assayer()).get(LIST + address).status_code in (403, 404)


# Terms


TERMS = {
    "au_limit_ppm": "0.5", "ag_limit_ppm": "2", "rule": "nearer party unless umpire between", "umpire": "P-03",
    "days": "45",
}  # fmt: skip


def test_terms_are_agreed_shown_and_ended():
    people.party("P-01"), people.party("P-03"), builders.refinery()
    day = timezone.localdate()
    answer = send(people.matt_accountant, LIST + "terms/P-01/", valid_from=day.isoformat(), **TERMS)
    assert answer.url == "/party/P-01/"
    (agreed,) = ExchangeTerms.objects.all()
    assert agreed.limits_ppm == {"Au": 500, "Ag": 2_000}
    assert (agreed.umpire.code, agreed.days, agreed.rule) == ("P-03", 45, TERMS["rule"])
    shown = page("/party/P-01/", people.adam_auditor)
    assert "Exchange of assays agreed" in shown
    assert "nearer party unless umpire between" in shown
    assert "P-03 Ketter Creek Mine" in shown
    form = people.signed_in(people.matt_accountant()).get(LIST + "terms/P-01/").context["form"]
    assert (form["au_limit_ppm"].value(), form["umpire"].value(), form["days"].value()) == ("0.5", "P-03", "45")
    send(people.matt_accountant, LIST + "terms/P-01/", valid_from=day.isoformat(), ended="on", rule=TERMS["rule"])
    assert "ended: nothing is exchanged" in page("/party/P-01/", people.adam_auditor)
    assert ExchangeTerms.objects.count() == 2


def test_terms_sent_twice_are_one():
    people.party("P-01"), people.party("P-03"), builders.refinery()
    said = TERMS | {"valid_from": timezone.localdate().isoformat(), "request_key": uuid.uuid4()}
    for _ in range(2):
        assert send(people.matt_accountant, LIST + "terms/P-01/", **said).status_code == 302
    assert ExchangeTerms.objects.count() == 1


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"au_limit_ppm": "", "ag_limit_ppm": ""}, "au_limit_ppm"),
        ({"au_limit_ppm": "1000.1"}, "au_limit_ppm"),
        ({"au_limit_ppm": "-1"}, "au_limit_ppm"),
        ({"au_limit_ppm": "0,5 %"}, "au_limit_ppm"),
        ({"ag_limit_ppm": "nan"}, "ag_limit_ppm"),
        ({"rule": "ours"}, "rule"),
        ({"umpire": "P-99"}, "umpire"),
        ({"umpire": "P-01"}, "umpire"),
        ({"days": "0"}, "days"),
        ({"days": "1.5"}, "days"),
        ({"days": "99999"}, "days"),
        ({"valid_from": "soon"}, "valid_from"),
    ],
)
def test_terms_that_cannot_be(changes, field):
    people.party("P-01"), people.party("P-03"), builders.refinery()
    said = TERMS | {"valid_from": timezone.localdate().isoformat()} | changes
    answer = send(people.matt_accountant, LIST + "terms/P-01/", **said)
    form = answer.context["form"]
    assert list(form.errors) == [field]
    assert form["umpire"].value() == said["umpire"], "everything typed is kept"
    assert not ExchangeTerms.objects.exists()


# Opening


def test_a_lot_that_is_due_is_shown_and_opened_once():
    lot = exchanges.due()
    assert lot.number in page(LIST)
    assert "Open the exchange" in page(LIST)
    assert "Open the exchange" not in page(LIST, people.adam_auditor)
    shown = page(f"{LIST}open/{lot.number}/")
    assert "Au 0.5 ‰, Ag 2.0 ‰" in shown
    key = uuid.uuid4()
    first, second = (send(people.anna_assayer, f"{LIST}open/{lot.number}/", request_key=key) for _ in range(2))
    (exchange,) = Exchange.objects.all()
    assert first.url == second.url == address_of(exchange)
    assert (exchange.lot, exchange.party.code, exchange.by) == (lot, "P-01", people.anna_assayer())
    assert exchange.number.startswith("X")
    assert "No lot waits for an exchange to be opened." in page(LIST)


def test_a_lot_that_is_not_due_is_not_opened():
    builders.refinery()
    lot = builders.received()[0]
    assert "needs no exchange" in page(f"{LIST}open/{lot.number}/")
    answer = send(people.anna_assayer, f"{LIST}open/{lot.number}/")
    assert "needs no exchange" in text(answer)
    assert not Exchange.objects.exists()


@pytest.mark.parametrize("form", ["slag", "sample"])
def test_only_what_the_party_delivered_is_exchanged(form):
    """Slag and samples of a melt are no material of the contract."""
    lot = builders.handed_over(exchanges.due(), people.sam_sampler())
    kind = Kind.SAMPLE if form == "sample" else Kind.MELT
    outputs = [Make(Form(form), 1_000)] if form == "sample" else [Make(Form.MELT, 999_000), Make(Form.SLAG, 1_000)]
    taken = Take(lot.number, 1_000) if form == "sample" else Take(lot.number)
    posted = record_step(kind=kind, inputs=[taken], outputs=outputs, at=timezone.now(), by=people.sam_sampler())
    made = [builders.fresh(number) for number in posted.lots]
    assert [bool(terms_due(one)) for one in made] == ([False] if form == "sample" else [True, False])


# Handing in


def test_the_refinery_hands_in_and_nobody_sees_the_other():
    exchange = exchanges.opened()
    exchanges.customer_in(exchange, Au=900_007, Ag=81_003)
    for person in people.STAFF:
        shown = page(address_of(exchange), person)
        assert "in, sealed" in shown
        assert not any(word in shown for word in ("900.007", "81.003", "Tern Bay", "900007"))
    found = exchanges.determined(exchange.lot)
    assert found.number in page(address_of(exchange, "refinery/"))
    answer = send(people.anna_assayer, address_of(exchange, "refinery/"), determination=found.number)
    assert answer.url == address_of(exchange)
    shown = page(address_of(exchange), people.adam_auditor)
    assert "900.007" in shown
    assert "900.5" in shown
    assert "their mean 900.254 counts" in shown


def test_a_determination_of_another_lot_is_not_handed_in():
    exchange = exchanges.opened()
    other = exchanges.determined(builders.received()[0])
    answer = send(people.anna_assayer, address_of(exchange, "refinery/"), determination=other.number)
    assert list(answer.context["form"].errors) == ["determination"]
    assert not exchange.results.exists()


def test_a_letter_is_entered_once_and_not_by_the_analyst():
    exchange = exchanges.opened()
    address = address_of(exchange, "letter/")
    key = uuid.uuid4()
    assert send(people.fiona_frontdesk, address, request_key=key, **LETTER).status_code == 302
    again = send(people.fiona_frontdesk, address, request_key=key, **LETTER | {"Au": "1"})
    assert again.url == address_of(exchange)
    assert exchange.results.count() == 1
    exchanges.refinery_in(exchange)
    customer = exchanges.seen(exchange).results["customer"]
    assert (customer.ppm, customer.reference) == ({"Au": 900_000, "Ag": 82_000}, "Letter 3")
    shown = page(address_of(exchange))
    assert "Letter 3" in shown
    assert "Fiona Marl" in shown


def test_who_determined_does_not_open_the_letter():
    """A person of both roles: what one role may, the other may not any more."""
    anna = people.anna_assayer()
    set_roles(user=anna, roles=[Role.ASSAYER, Role.FRONT_DESK], active=True, by=people.mona_manager())
    exchange = exchanges.opened()
    exchanges.refinery_in(exchange)
    answer = send(people.anna_assayer, address_of(exchange, "letter/"), **LETTER)
    assert "go through different hands" in text(answer)
    assert answer.context["form"]["Au"].value() == "900.0", "everything typed is kept"
    assert exchange.results.count() == 1


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"Au": ""}, "Au"),
        ({"Ag": ""}, "Ag"),
        ({"Au": "900,0 g"}, "Au"),
        ({"Au": "1001"}, "Au"),
        ({"Pt": "1e400"}, "Pt"),
        ({"Au": "-1"}, "Au"),
        ({"Au": "NaN"}, "Au"),
        ({"Au": "9" * 1000}, "Au"),
        ({"laboratory": ""}, "laboratory"),
        ({"reference": " "}, "reference"),
        ({"sure": ""}, "sure"),
        ({"Au": "900", "Ag": "100.001"}, "__all__"),
    ],
)
def test_a_letter_that_cannot_be(changes, field):
    exchange = exchanges.opened()
    answer = send(people.fiona_frontdesk, address_of(exchange, "letter/"), **LETTER | changes)
    form = answer.context["form"]
    assert list(form.errors) == [field]
    assert form["Ag"].value() == (LETTER | changes)["Ag"], "everything typed is kept"
    assert not exchange.results.exists()


# Settling


def test_inside_the_limits_the_mean_values_the_lot():
    exchange = exchanges.both_in()
    assert "open: inside the limits" in page(address_of(exchange))
    key = uuid.uuid4()
    for _ in range(2):
        answer = send(people.matt_accountant, address_of(exchange, "settle/"), request_key=key)
        assert answer.url == address_of(exchange)
    made = Determination.objects.get(exchange=exchange)
    assert made.ppm == (900_250, 81_000, 0, 0, 15_000)
    assert (made.method, made.by) == (Method.EXCHANGE, people.matt_accountant())
    other = send(people.anna_assayer, address_of(exchange, "settle/"))
    assert "is recorded already" in text(other)
    assert f"Accept {made.number}" in page(address_of(exchange), people.mona_manager)
    assert f"Accept {made.number}" not in page(address_of(exchange), people.adam_auditor)
    assert send(people.mona_manager, f"/laboratory/accept/{made.number}/").status_code == 302
    lot = builders.fresh(exchange.lot.number)
    assert (lot.au_mg, lot.ag_mg) == (900_250, 81_000)
    shown = page(address_of(exchange), people.clara_compliance)
    assert "Settled assay accepted" in shown
    assert "valued" in shown


def test_outside_the_limits_the_umpire_is_asked():
    exchange = exchanges.both_in(exchanges.opened(), exchanges.OUTSIDE)
    shown = page(address_of(exchange), people.matt_accountant)
    assert "open: to the umpire" in shown
    assert "Samples kept for an umpire" in shown
    assert "There is nothing to record: open: to the umpire." in page(address_of(exchange, "settle/"))
    assert "is not settled" in text(send(people.matt_accountant, address_of(exchange, "settle/")))
    umpire = address_of(exchange, "umpire/")
    form = people.signed_in(people.matt_accountant()).get(umpire).context["form"]
    assert form.metals == ["Au"]
    said = {"laboratory": "Quern", "reference": "Report 771", "Au": "901.0", "sure": "on"}
    for wrong in ({"Au": ""}, {"reference": ""}, {"sure": ""}):
        assert len(send(people.matt_accountant, umpire, **said | wrong).context["form"].errors) == 1
    assert send(people.matt_accountant, umpire, **said).url == address_of(exchange)
    assert send(people.matt_accountant, umpire, **said).url == address_of(exchange), "in already"
    shown = page(address_of(exchange), people.matt_accountant)
    assert "The refinery was farther from it and pays" in shown
    assert "Report 771" in shown
    lot = exchanges.valued(exchange)
    assert (lot.au_mg, lot.ag_mg) == (901_000, 80_250)


def test_a_settled_assay_turned_down_can_be_recorded_anew():
    exchange = exchanges.both_in()
    first = exchanges.settled(exchange)
    assay_again(determination=first, reason="Wrong sample", at=timezone.now(), by=people.mona_manager())
    assert exchanges.seen(exchange).state.label == "open: inside the limits"
    assert exchanges.valued(exchange).au_mg == 900_250
    assert exchange.determinations.count() == 2
    assert f"{first.number}: Wrong sample" in page(address_of(exchange)), "the history keeps it"


def test_copper_gives_way_to_the_metals_exchanged():
    exchange = exchanges.opened()
    exchanges.refinery_in(exchange, Au=900_000, Ag=80_000, Cu=20_000)
    exchanges.customer_in(exchange, Au=900_400, Ag=80_000)
    assert exchanges.settled(exchange).ppm == (900_200, 80_000, 0, 0, 19_800)


def test_metals_that_exceed_the_whole_one_gives_way_as_agreed():
    exchange = exchanges.beyond_the_whole()
    where = address_of(exchange, "settle/")
    assert "0.65 ‰ more than the whole" in page(where, people.matt_accountant)
    for wrong in ({}, {"gives_way": "Pt"}):
        assert list(send(people.matt_accountant, where, **wrong).context["form"].errors) == ["gives_way"]
    assert not exchange.determinations.exists()
    assert send(people.matt_accountant, where, gives_way="Ag").url == address_of(exchange)
    made = exchange.determinations.get()
    assert made.ppm == (849_900, 150_100, 0, 0, 0)
    assert made.note.endswith("0.65 ‰ more than the whole: as agreed, Ag gives way and counts as 150.1 ‰.")
    exchanges.accepted(made)
    assert builders.fresh(exchange.lot.number).ag_mg == 150_100


def test_the_settled_assay_and_its_certificate_say_how_it_came_about():
    exchange = exchanges.both_in()
    made = exchanges.settled(exchange)
    came = "Au: 900.5 and 900.0 lie 0.5 apart, within 0.5; their mean 900.25 counts, rounded half to even to 0.001."
    assert came in made.note
    assert "Pt" not in made.note, "nobody found any"
    exchanges.accepted(made)
    paper = assay_paper(Determination.objects.get(pk=made.pk), copy_no=1, at=timezone.now())
    assert paper.sentences[0] == f"Exchange {exchange.number} with {exchange.party}."
    assert came in paper.sentences


# Acceptance


def test_a_determination_of_a_lot_that_is_exchanged_has_no_button_that_is_refused():
    one = exchanges.determined(exchanges.due())
    accept = f"/laboratory/accept/{one.number}/"
    shown = page(accept, people.mona_manager)
    assert f"Accept {one.number}" not in shown
    assert f"{LIST}open/{one.lot.number}/" in shown
    assert "what the book will say" not in shown
    exchange = exchanges.opened(one.lot)
    shown = page(accept, people.mona_manager)
    assert f"Accept {one.number}" not in shown
    assert address_of(exchange) in shown
    settled = exchanges.settled(exchanges.both_in(exchange))
    assert f"Accept {settled.number}" in page(f"/laboratory/accept/{settled.number}/", people.mona_manager)


def test_who_handed_a_result_in_is_offered_no_acceptance():
    exchange = exchanges.opened()
    exchanges.refinery_in(exchange)
    exchanges.customer_in(exchange)
    settled = exchanges.settled(exchange)
    assert "a result of its exchange" in page(f"/laboratory/accept/{settled.number}/", people.anna_assayer)
    waiting = people.signed_in(people.anna_assayer()).get("/laboratory/").content.decode()
    assert f'Look at<span class="visually-hidden"> {settled.number}' in waiting


# Lists


def test_the_list_is_narrowed_by_standing_and_words():
    exchanges.terms(people.party("P-02"))
    awaited = exchanges.opened()
    inside = exchanges.both_in(exchanges.opened(builders.received()[0]))
    settled = exchanges.both_in(exchanges.opened(builders.received()[0]))
    exchanges.settled(settled)
    done = exchanges.both_in(exchanges.opened(builders.received()[0]))
    exchanges.valued(done)
    other = exchanges.opened(builders.received(of=people.party("P-02"))[0])

    def listed(query):
        table = people.signed_in(people.adam_auditor()).get(LIST + query).context["exchanges"]
        return {row.record.number for row in table.paginated_rows}

    everything = {one.number for one in (awaited, inside, settled, done, other)}
    assert listed("") == listed("?standing=all") == listed("?standing=nonsense") == everything
    assert listed("?standing=a+result+is+awaited") == {awaited.number, other.number}
    assert listed("?standing=both+results+are+in") == {inside.number}
    assert listed("?standing=settled,+to+be+accepted") == {settled.number}
    assert listed("?standing=valued") == {done.number}
    assert listed(f"?q={awaited.lot.number}") == {awaited.number}
    assert listed("?q=old+mill") == listed("?q=P-02") == {other.number}


def test_three_exchanges_cost_as_many_queries_as_one():
    client = people.signed_in(people.adam_auditor())
    exchanges.terms()

    def cost():
        with CaptureQueriesContext(connection) as caught:
            client.get(LIST)
        return len(caught)

    def one_of_each():
        exchanges.both_in(exchanges.opened(builders.received()[0]))
        exchanges.determined(builders.received()[0])

    one_of_each()
    client.get(LIST)
    one = cost()
    one_of_each()
    one_of_each()
    assert cost() == one


def test_a_lot_worked_on_first_ends_its_exchange():
    exchange = exchanges.opened()
    lot = builders.handed_over(exchange.lot, people.sam_sampler())
    record_step(
        kind=Kind.MELT,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, lot.gross_mg)],
        at=timezone.now(),
        by=people.sam_sampler(),
    )
    shown = page(address_of(exchange))
    assert "over: worked on first" in shown
    assert "Hand in" not in shown


def test_terms_from_tomorrow_ask_for_nothing_today():
    builders.refinery()
    exchanges.terms(since=timezone.localdate() + timedelta(days=1))
    builders.received()
    assert "No lot waits for an exchange to be opened." in page(LIST)


def waits(person):
    panel = people.signed_in(person()).get("/").context["waits"]
    return {fact.label: fact.value for fact in panel.facts}


def test_today_says_what_is_to_be_done_and_offers_nothing_that_cannot_be_accepted():
    lot = exchanges.due()
    exchanges.determined(lot)
    assert waits(people.anna_assayer)["Assays to be exchanged"] == "1 lot"
    assert "Assays awaiting acceptance" not in waits(people.mona_manager)
    exchange = exchanges.opened(lot)
    assert waits(people.anna_assayer)["Exchanges awaiting our result"] == "1 exchange"
    exchanges.both_in(exchange)
    assert waits(people.matt_accountant)["Exchanges to be settled"] == "1 exchange"
    assert "Assays awaiting acceptance" not in waits(people.mona_manager)
    board = people.signed_in(people.mona_manager()).get("/laboratory/").context["waiting"]
    assert not len(board.rows)
    settled = exchanges.settled(exchange)
    assert waits(people.mona_manager)["Assays awaiting acceptance"] == "1 determination"
    board = people.signed_in(people.mona_manager()).get("/laboratory/").context["waiting"]
    assert [row.record for row in board.rows] == [settled]
    exchanges.accepted(settled)
    assert not any("xchange" in label for label in waits(people.matt_accountant))


def test_an_exchange_is_found_by_its_number_and_from_its_lot():
    exchange = exchanges.opened()
    client = people.signed_in(people.adam_auditor())
    assert client.get("/find/", {"code": exchange.number.lower()}).url == address_of(exchange)
    assert address_of(exchange) in page(f"/lot/{exchange.lot.number}/")
