"""The figures of an exchange of assays are sealed: no statement, refusal, statistic or race lets them out."""

import json
import threading

import psycopg
import pytest
from django.db import DatabaseError, connection, connections, transaction
from hypothesis import given, settings
from hypothesis import strategies as st
from psycopg.types.json import Jsonb

from custody.actions.exchanges import hand_in_own
from custody.calc.exchange import UmpireRule, settle
from custody.calc.fineness import parse_per_mille
from custody.queries.verify.findings import Check
from custody.queries.verify.guards import check
from refinery import embedded, roles
from tests import exchanges, people
from tests.calc.published import cases
from tests.conftest import HOME
from tests.ledger.test_exchange import CUSTOMERS, request

finenesses = st.integers(0, 250_000)
limits = st.one_of(st.none(), st.integers(0, 5_000))
rules = st.sampled_from(UmpireRule)

SECRETS = ("900007", "81003", "900 007", "900.007")


def waiting():
    """An exchange with the customer's result in, committed."""
    exchange = exchanges.opened(exchanges.due())
    exchanges.customer_in(exchange, **CUSTOMERS)
    return exchange


@pytest.fixture(scope="module")
def sealed(book):
    return waiting()


@pytest.mark.parametrize(
    "query",
    [
        "SELECT * FROM custody_sealedresult",
        "SELECT au_ppm FROM custody_sealedresult",
        "SELECT count(*) FROM custody_sealedresult WHERE au_ppm > 900000",
        "TABLE custody_sealedresult",
        "COPY custody_sealedresult TO STDOUT",
        "SELECT s FROM custody_sealedresult s",
        "INSERT INTO custody_sealedresult SELECT * FROM custody_sealedresult RETURNING au_ppm",
        "UPDATE custody_sealedresult SET side = side RETURNING au_ppm",
        "DELETE FROM custody_sealedresult RETURNING *",
        "MERGE INTO custody_sealedresult USING (SELECT 1) one ON true WHEN MATCHED THEN DO NOTHING",
        "CREATE VIEW peek AS SELECT * FROM custody_sealedresult",
        "CREATE FUNCTION peek() RETURNS int LANGUAGE sql AS 'SELECT 1'",
        "SET ROLE custody_owner",
        "SET SESSION AUTHORIZATION custody_owner",
        "ALTER VIEW custody_exchangeresult SET (security_invoker = true)",
        "SELECT custody_settled_ppm(1, 2, 3, 4, 'umpire final')",
        "SELECT * FROM pg_statistic",
        "UPDATE custody_exchangeresult SET side = side RETURNING au_ppm",
    ],
)
def test_the_application_may_not_read_what_is_sealed(sealed, app_connection, query):
    with pytest.raises(psycopg.Error) as caught:
        app_connection().execute(query)
    assert not any(secret in str(caught.value) for secret in SECRETS)
    assert caught.value.sqlstate in ("42501", "55000"), "refused by right, not by a slip in the query"


@pytest.mark.parametrize(
    "query",
    [
        "SELECT * FROM custody_exchangeresult",
        "SELECT * FROM custody_exchangeresult WHERE au_ppm > 0 OR ag_ppm = 81003",
        "SELECT r FROM custody_exchangeresult r ORDER BY au_ppm",
        "SELECT count(*) FROM custody_exchangeresult WHERE au_ppm = 900007",
        "SELECT * FROM custody_exchange_outcome((SELECT max(id) FROM custody_exchange))",
        "SELECT * FROM pg_stats WHERE tablename LIKE '%sealed%'",
        "SELECT query FROM pg_stat_activity",
        "SELECT to_jsonb(x) FROM custody_exchange x",
    ],
)
def test_what_may_be_read_says_nothing_of_it(sealed, owner_connection, app_connection, query):
    owner_connection().execute("ANALYZE custody_sealedresult")
    found = json.dumps(app_connection().execute(query).fetchall(), default=str).replace(query, "")
    assert not any(secret in found for secret in SECRETS)
    assert "Tern Bay" not in found
    if "count" in query:
        assert found == "[[0]]"


def test_a_condition_on_the_view_is_answered_from_the_mask(book, app_connection):
    """A division by zero would tell the figure: the mask must come first."""
    exchange, app = waiting(), app_connection()
    probe = (
        "SELECT 1 FROM custody_exchangeresult WHERE exchange_id = %s AND 1 / (au_ppm - 900007) > 0",
        (exchange.pk,),
    )
    assert app.execute(*probe).fetchall() == []
    exchanges.refinery_in(exchange)
    with pytest.raises(psycopg.errors.DivisionByZero):
        app.execute(*probe)


def test_refusals_say_nothing_of_the_other_side(sealed):
    for asked in (
        request(sealed, ppm={"Au": 1, "Ag": 1}),
        request(sealed, "refinery"),
        request(sealed, "umpire", ppm={"Au": 1}),
    ):
        with pytest.raises(DatabaseError) as caught, transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SELECT custody_seal_result(%s)", [Jsonb(asked)])
        diag = caught.value.__cause__.diag
        told = " ".join(str(part) for part in (diag.message_primary, diag.message_detail, diag.message_hint))
        assert not any(secret in told for secret in SECRETS)


def test_what_a_session_is_doing_names_no_figure(book, app_connection, owner_connection):
    """While a result waits for the exchange's row, every session of the same role can read its statement."""
    exchange = exchanges.opened(exchanges.due())
    people.cora_customer()
    owner, app = owner_connection(), app_connection()
    owner.autocommit = False
    owner.execute("SELECT FROM custody_exchange WHERE id = %s FOR UPDATE", (exchange.pk,))

    def hand_in():
        try:
            hand_in_own(exchange=exchange, ppm=CUSTOMERS, laboratory="Tern Bay Assayers", by=people.cora_customer())
        finally:
            connection.close()

    waiting = threading.Thread(target=hand_in)
    waiting.start()
    asked = (
        "SELECT query FROM pg_stat_activity WHERE query LIKE '%custody\\_seal\\_result(%' AND pid <> pg_backend_pid()"
    )
    for _ in range(200):
        found = app.execute(asked).fetchall()
        if found:
            break
        threading.Event().wait(0.02)
    owner.rollback()
    waiting.join()
    assert len(found) == 1, "the control: the waiting statement is seen"
    assert not any(secret in found[0][0] for secret in (*SECRETS, "Tern Bay"))
    assert exchange.results.count() == 1


def test_a_grant_to_read_is_found(sealed, superuser_connection):
    superuser = superuser_connection()
    superuser.execute("GRANT SELECT (au_ppm) ON custody_sealedresult TO custody_app")
    try:
        check(found := Check("I3"))
    finally:
        superuser.execute("REVOKE SELECT (au_ppm) ON custody_sealedresult FROM custody_app")
    check(after := Check("I3"))
    lost = [row for row in found.rows if row not in after.rows]
    assert lost == [{"where": "custody_sealedresult", "what": "the application may read what is sealed"}]


def test_both_open_at_once(book, app_connection):
    exchange, app = waiting(), app_connection()
    figures = (
        "SELECT side, opened, au_ppm, laboratory <> '' FROM custody_exchangeresult WHERE exchange_id = %s ORDER BY 1"
    )
    asked = (figures, (exchange.pk,))
    assert app.execute(*asked).fetchall() == [("customer", False, None, False)]
    exchanges.refinery_in(exchange)
    assert app.execute(*asked).fetchall() == [("customer", True, 900_007, True), ("refinery", True, 900_500, True)]


def test_two_sides_at_once(book, connect_as):
    """Both sides hand in, several times each, at one moment: one result a side, and the exchange is open."""
    exchange = exchanges.opened(exchanges.due())
    found = exchanges.determined(exchange.lot)
    said = dict(zip(("Au", "Ag", "Pt", "Pd"), found.ppm, strict=False))
    calls = [request(exchange), request(exchange, "refinery", ppm=said, determination=found.pk)] * 4
    start, answers = threading.Barrier(len(calls)), []

    def hand_in(asked, app):
        start.wait()
        try:
            app.execute("SELECT custody_seal_result(%s)", [Jsonb(asked)])
            answers.append("in")
        except psycopg.Error as error:
            answers.append(error.diag.constraint_name)

    threads = [threading.Thread(target=hand_in, args=(asked, connect_as(roles.APP))) for asked in calls]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(answers) == ["in"] * 2 + ["sealed_once"] * 6
    assert exchanges.seen(exchange).lines[0].settled_ppm is not None


# What it comes to is what calc/exchange.py says


OUTCOME = "SELECT custody_settled_ppm(%s, %s, %s, %s, %s)"


@pytest.fixture(scope="module")
def as_owner(book):
    """The rule in SQL, asked by the owner, who alone may."""
    with embedded.connect(HOME, connections["default"].settings_dict["NAME"], roles.OWNER) as owner:
        yield lambda *given: owner.execute(OUTCOME, given).fetchone()[0]


@given(finenesses, st.one_of(st.none(), finenesses), limits, st.one_of(st.none(), finenesses), rules)
@settings(max_examples=400)
def test_the_book_and_the_rule_agree(as_owner, ours, theirs, limit, third, rule):
    (line,) = settle(
        {"Au": ours},
        None if theirs is None else {"Au": theirs},
        {} if limit is None else {"Au": limit},
        {} if third is None else {"Au": third},
        rule,
    )
    assert as_owner(ours, theirs, limit, third, rule) == line.settled_ppm


@given(st.integers(0, 1_000_000), st.integers(-30, 30), st.integers(0, 30), st.integers(-40, 40), rules)
@settings(max_examples=600)
def test_they_agree_at_the_edges(as_owner, ours, apart, limit, off, rule):
    theirs, third = (min(max(ours + each, 0), 1_000_000) for each in (apart, off))
    (line,) = settle({"Au": ours}, {"Au": theirs}, {"Au": limit}, {"Au": third}, rule)
    assert as_owner(ours, theirs, limit, third, rule) == line.settled_ppm


@pytest.mark.parametrize("rule", ["final", "nearer", "mean"])
@pytest.mark.parametrize("case", cases("exchange", "umpire"))
def test_umpire_cases(as_owner, case, rule):
    """Source: fixtures/published/exchange.json, common practice from memory."""
    named = {"final": UmpireRule.FINAL, "nearer": UmpireRule.NEARER, "mean": UmpireRule.MEAN}
    ours, theirs, third = (parse_per_mille(case[name]) for name in ("refinery", "customer", "umpire"))
    assert as_owner(ours, theirs, 500, third, named[rule]) == parse_per_mille(case[rule])
