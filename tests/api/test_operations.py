"""POST /api/operations: every answer that it can give, and what is in the book afterwards."""

import json
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.conf import settings
from django.db import connections

from custody.actions.history import import_history
from custody.actions.house import add_place
from custody.actions.people import set_roles
from custody.actions.tokens import revoke_token
from custody.models import Lot, Operation
from custody.queries.verify import verify
from custody.terms import PlaceKind, Role
from tests import builders, people
from tests.api.conftest import Program, does_all

SAMPLE = settings.BASE_DIR / "fixtures" / "history" / "history-small.jsonl"


def receive(lot="L-1", number="OP-1", **changes):
    return {
        "record": "operation",
        "number": number,
        "kind": "receive",
        "at": "2024-01-02T09:00:00+00:00",
        "party": "P-01",
        "outputs": [
            {
                "lot": lot,
                "form": "dore",
                "gross_g": "1000.000",
                "fine_g": {"Au": "800.000", "Ag": "150.000"},
                "origin": {"category": "mined", "country": "CA"},
            }
        ],
    } | changes


def melt(*lots, number="OP-2", gross="1000.000", gold="800.000", **changes):
    return {
        "record": "operation",
        "number": number,
        "kind": "melt",
        "at": "2024-01-02T10:00:00+00:00",
        "inputs": [{"lot": lot} for lot in lots or ("L-1",)],
        "outputs": [{"lot": "L-M", "form": "melt", "gross_g": gross, "fine_g": {"Au": gold, "Ag": "150.000"}}],
    } | changes


def said(answer, status):
    """The problem of an answer, which is one in every respect."""
    problem = answer.json()
    assert answer.status_code == status == problem["status"], problem
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert problem["type"] == f"/api/problems/{problem['code']}"
    assert problem["title"]
    assert problem["detail"].strip()
    return problem


def test_a_receipt_is_recorded_at_the_counter(alma):
    answer = alma.post("operations", receive())
    assert answer.status_code == 201
    told = answer.json()
    assert told == {"number": "OP-1", "id": told["id"], "lots": ["L-1"], "replayed": False}
    lot = builders.fresh("L-1")
    assert (lot.gross_mg, lot.au_mg, lot.valued, lot.place.code) == (1_000_000, 800_000, True, "COUNTER")
    assert lot.custodian == alma.person
    shown = alma.get("operations/OP-1").json()
    assert (shown["kind"], shown["source"], shown["party"], shown["lots"]) == ("receive", "api", "P-01", ["L-1"])


def test_only_compliance_releases_by_a_program(house):
    Program(does_all()).post("operations", receive())
    Program(people.fiona_frontdesk()).post("operations", receive("L-2", "OP-2"))
    assert builders.fresh("L-1").clearance == "released"
    assert builders.fresh("L-2").clearance == "awaiting release"
    assert verify().ok


def test_an_unvalued_parcel_and_its_valuation(alma):
    record = receive()
    del record["outputs"][0]["fine_g"]
    assert alma.post("operations", record).status_code == 201
    assert not builders.fresh("L-1").valued
    value = {"record": "operation", "number": "OP-2", "kind": "value", "at": "2024-01-03T09:00:00Z", "lot": "L-1"}
    assert alma.post("operations", value | {"fine_g": {"Au": "801.000"}}, key="k-2").status_code == 201
    assert builders.fresh("L-1").au_mg == 801_000


def test_the_place_of_a_receipt_may_be_said(alma):
    assert alma.post("operations?place=STRONG", receive()).status_code == 201
    assert builders.fresh("L-1").place.code == "STRONG"
    assert said(alma.post("operations?place=NOWHERE", receive("L-2", "OP-2"), key="k-2"), 422)["field"] == "place"
    assert said(alma.post("operations?place=%00", receive("L-3", "OP-3"), key="k-3"), 400)["field"] == "place"
    assert said(alma.post("operations?plce=STRONG", receive("L-2", "OP-2"), key="k-2"), 400)["field"] == "plce"


def test_the_same_key_and_body_is_recorded_once(alma):
    first = alma.post("operations", receive()).json()
    again = alma.post("operations", receive())
    assert (again.status_code, again.json()) == (200, first | {"replayed": True})
    other = said(alma.post("operations", receive(at="2024-01-02T09:00:01+00:00")), 409)
    assert (other["code"], other["field"]) == ("request_key", "Idempotency-Key")
    assert said(alma.post("operations", receive(), key="k-2"), 409)["code"] == "number_taken"
    assert Operation.objects.count() == 1


def test_two_people_may_choose_the_same_key(house):
    assert Program(does_all()).post("operations", receive()).status_code == 201
    assert Program(people.fiona_frontdesk()).post("operations", receive("L-2", "OP-2")).status_code == 201


def test_a_run_from_charge_to_finish(alma):
    """Figures of a run as a program would send them: acid in, a weighed draw, the rest to a named remainder."""

    def step(hour, kind, **changes):
        named = {"number": f"OP-{hour}", "at": f"2024-01-02T{hour}:00:00Z"}
        return {"record": "operation", "kind": kind, **named, **changes}

    def content(vessel):
        made = {"lot": "L-C", "form": "in process", "vessel": vessel, "gross_g": "3000.000"}
        return made | {"fine_g": {"Au": "800.000", "Ag": "150.000"}}

    alma.post("operations", receive())
    acid = {"inputs": [{"lot": "L-1"}], "additions": [{"what": "acid", "gross_g": "2000.000"}], "step": "dissolve"}
    nowhere = said(alma.post("operations", step(10, "charge", **acid, outputs=[content("VAT-9")]), key="c"), 422)
    assert (nowhere["code"], nowhere["field"]) == ("unknown_place", "outputs[0].vessel")
    sand = {"lot": "L-S", "form": "gold sand", "gross_g": "790.000", "fine_g": {"Au": "789.000"}}
    rest = {"lot": "L-R", "form": "residue", "gross_g": "2000.000", "fine_g": {"Au": "11.000", "Ag": "150.000"}}
    taken = {"lot": "L-C", "gross_g": "790.000", "fine_g": {"Au": "789.000"}}
    for record in (
        step(10, "charge", **acid, outputs=[content("VESSEL-1")]),
        step(11, "draw", inputs=[taken], outputs=[sand]),
        step(12, "finish", inputs=[{"lot": "L-C"}], outputs=[rest], losses=[{"cause": "fume", "gross_g": "210.000"}]),
    ):
        answer = alma.post("operations", record, key=record["number"])
        assert answer.status_code == 201, answer.json()
    assert builders.fresh("L-C").gross_mg == 0
    assert (builders.fresh("L-S").au_mg, builders.fresh("L-R").au_mg) == (789_000, 11_000)
    assert verify().ok


def test_a_refused_request_leaves_its_key_unused(alma):
    assert said(alma.post("operations", receive(party="P-99")), 422)["field"] == "party"
    assert alma.post("operations", receive()).status_code == 201


def test_what_a_program_recorded_is_known_to_an_import(alma):
    alma.post("operations", receive())
    header = {"record": "header", "format": "custody-history", "version": 1}
    done = import_history(lines=[json.dumps(header), json.dumps(receive())])
    assert (done.operations, done.known) == (0, 1)


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"colour": "red"}, "operation", "not known"),
        ({"number": 7}, "number", "number or code"),
        ({"kind": "boil"}, "kind", "none of"),
        ({"at": "2024-01-02T09:00:00"}, "at", "with its offset"),
        ({"at": "2024-01-02T09:00:00+23:59"}, "at", "with its offset"),
        ({"outputs": {}}, "outputs", "is a list"),
        ({"outputs": [{"lot": "L-1", "form": "dore", "gross_g": "1,000"}]}, "outputs[0].gross_g", "comma"),
        ({"outputs": [{"lot": "L-1", "form": "dore", "gross_g": "1 kg"}]}, "outputs[0].gross_g", "spaces"),
        ({"outputs": [{"lot": "L-1", "form": "dore", "gross_g": "1.2345"}]}, "outputs[0].gross_g", "3 decimals"),
        ({"outputs": [{"lot": "L-1", "form": "dore", "gross_g": 1000}]}, "outputs[0].gross_g", "string of grams"),
        ({"outputs": [{"lot": "L-1", "form": "dore", "gross_g": "1e3"}]}, "outputs[0].gross_g", "exponent"),
        ({"losses": [{"cause": "slag", "gross_g": "--0"}]}, "losses[0].gross_g", "negative"),
        ({"record": "party"}, "party", ""),
        ({"outputs": [{"lot": "L-1", "form": "dore", "gross_g": "1"}] * 2}, "outputs[1].lot", "stands twice"),
    ],
)
def test_a_body_that_is_no_record_is_not_readable(alma, changed, field, words):
    problem = said(alma.post("operations", receive(**changed)), 400)
    assert (problem["code"], problem["field"]) == ("not_readable", field)
    assert words in problem["detail"]
    assert not Operation.objects.exists()


@pytest.mark.parametrize(
    ("body", "words"),
    [
        (" ", "not JSON"),
        ("{", "not JSON"),
        ("[]", "JSON object"),
        (b"\xff{}", "not UTF-8"),
        ('{"record":"operation","record":"operation"}', "twice"),
        ('{"record":"operation","number":1.5}', "1.5"),
        ('{"record":"operation","number":NaN}', "NaN"),
        ("[" * 100_000, "nested too deeply"),
        ('{"record":"header","format":"custody-history","version":1}', "operation record"),
    ],
)
def test_a_body_that_is_no_json_is_not_readable(alma, body, words):
    problem = said(alma.post("operations", body), 400)
    assert problem["field"] in ("body", "record")
    assert words in problem["detail"]


@pytest.mark.parametrize("key", [None, "", " ", "é", "x" * 201])
def test_a_key_is_needed(alma, key):
    assert said(alma.post("operations", receive(), key=key), 400)["field"] == "Idempotency-Key"


def test_a_large_body_and_another_media_type(alma):
    assert said(alma.post("operations", " " * 1_000_001), 413)["code"] == "too_large"
    wrong = {"Content-Type": "text/plain"}
    assert said(alma.post("operations", receive(), **wrong), 415)["code"] == "unsupported_media_type"


@pytest.mark.parametrize("header", ["", "Bearer", "Bearer nothing", "Basic YTpi", "Bearer \xff", "Bearer " + "0" * 64])
def test_nobody_comes_in_without_a_token(alma, header):
    for answer in (alma.get("scales", Authorization=header), alma.post("operations", "{", Authorization=header)):
        assert said(answer, 401)["code"] == "unauthorized"
        assert answer.headers["WWW-Authenticate"].startswith("Bearer")


def test_a_session_is_no_token(alma):
    alma.client.force_login(alma.person)
    assert alma.client.get("/api/scales").status_code == 401


def test_a_revoked_token_and_a_closed_login(alma):
    other = Program(alma.person)
    revoke_token(token=alma.row, by=people.mona_manager())
    assert said(alma.get("scales"), 401)
    assert other.get("scales").status_code == 200
    set_roles(user=other.person, roles=[Role.VAULT], active=False, by=people.mona_manager())
    assert said(other.get("scales"), 401)


@pytest.mark.parametrize("who", [people.cora_customer, people.adam_auditor, people.vera_vault, people.mona_manager])
def test_each_kind_asks_for_its_role(alma, who):
    alma.post("operations", receive())
    program = Program(who())
    for record in (receive("L-2", "OP-2"), melt()):
        problem = said(program.post("operations", record), 403)
        assert (problem["code"], problem["field"]) == ("not_allowed", "Authorization")
    assert Operation.objects.count() == 1


def test_a_customer_sees_its_own_receipts_alone(alma):
    alma.post("operations", receive())
    alma.post("operations", melt(), key="k-2")
    cora, stranger = Program(people.cora_customer()), Program(people.stranger())
    assert cora.get("operations/OP-1").status_code == 200
    for program, number in ((cora, "OP-2"), (stranger, "OP-1"), (stranger, "OP-9")):
        assert said(program.get(f"operations/{number}"), 404)["field"] == "number"
    assert said(cora.get("scales"), 403)


def test_a_receipt_has_parcels_alone(alma):
    flux = receive(additions=[{"what": "flux", "gross_g": "1.000"}])
    assert said(alma.post("operations", flux), 422)["code"] == "receive"
    content = receive()
    content["outputs"][0] |= {"form": "in process", "vessel": "VESSEL-1"}
    assert said(alma.post("operations", content), 422)["code"] == "receive"


def test_what_does_not_balance_names_the_missing_milligrams(alma):
    alma.post("operations", receive())
    problem = said(alma.post("operations", melt(gross="999.900", gold="799.999"), key="k-2"), 422)
    assert problem["code"] == "balance"
    assert problem["missing_mg"] == {"gross": 100, "Au": 1}
    assert problem["missing_g"] == {"gross": "0.100", "Au": "0.001"}
    assert "0.100 g of gross mass still to explain" in problem["detail"]


def test_the_books_other_rules_name_their_field(alma):
    alma.post("operations", receive())
    unknown = said(alma.post("operations", melt("L-1", "L-9"), key="k-2"), 422)
    assert (unknown["code"], unknown["field"], unknown["lot"]) == ("unknown_lot", "inputs[1]", "L-9")
    twice = said(alma.post("operations", melt("L-1", "L-1"), key="k-2"), 422)
    assert (twice["code"], twice["field"]) == ("lot_twice", "inputs[1]")
    metal = said(alma.post("operations", melt(gold="900.000"), key="k-2"), 422)
    assert (metal["code"], metal["field"]) == ("metals_over_gross", "outputs[0]")
    assert said(alma.post("operations", melt(at="2124-01-02T10:00:00Z"), key="k-2"), 422)["field"] == "at"


def test_more_than_there_is_conflicts_with_the_book(alma):
    alma.post("operations", receive())
    more = melt(inputs=[{"lot": "L-1", "gross_g": "1000.001"}])
    problem = said(alma.post("operations", more, key="k-2"), 409)
    assert (problem["code"], problem["field"]) == ("overdraw", "inputs[0]")
    assert (problem["missing_mg"], problem["missing_g"]) == ({"gross": 1}, {"gross": "0.001"})


def test_held_taken_and_earlier_conflict_with_the_book(alma):
    alma.post("operations", receive())
    alma.post("operations", receive("L-2", "OP-2"), key="k-2")
    builders.handed_over(builders.fresh("L-2"), people.otto_operator())
    builders.held(builders.fresh("L-1"))
    now = {"at": Lot.objects.latest("last_at").last_at.isoformat(), "number": "OP-3"}
    assert said(alma.post("operations", melt("L-1", **now), key="k-3"), 409)["code"] == "held_lot"
    assert said(alma.post("operations", melt("L-2", **now), key="k-3"), 409)["code"] == "not_custodian"
    assert said(alma.post("operations", receive(number="OP-3"), key="k-3"), 409)["code"] == "lot_taken"
    assert said(alma.post("operations", melt("L-2", number="OP-3"), key="k-3"), 409)["field"] == "at"


def test_a_closed_month_conflicts_with_the_book(alma):
    with connections["default"].cursor() as cursor:
        cursor.execute("SELECT custody_close_period('2024-01-01', %s)", [people.matt_accountant().pk])
    problem = said(alma.post("operations", receive()), 409)
    assert (problem["code"], problem["field"]) == ("closed_period", "at")


def lossy(**changes):
    return melt(
        gross="980.000",
        gold="780.000",
        losses=[{"cause": "spill", "gross_g": "20.000", "fine_g": {"Au": "20.000"}}],
        **changes,
    )


def test_past_its_tolerance_a_second_person_signs(alma):
    alma.post("operations", receive())
    needed = said(alma.post("operations", lossy(), key="k-2"), 422)
    assert (needed["code"], needed["field"]) == ("countersignature_needed", "Countersign-Authorization")
    manager, clerk = Program(people.mona_manager()), Program(people.fiona_frontdesk())

    def signed(record, token, meaning="Weighed again together"):
        signature = {"Countersign-Authorization": f"Bearer {token}", "Countersign-Meaning": meaning}
        return alma.post("operations", record, key="k-2", **signature)

    assert said(signed(lossy(), "nothing"), 401)["field"] == "Countersign-Authorization"
    assert said(signed(lossy(), manager.token, ""), 400)["field"] == "Countersign-Meaning"
    assert said(signed(lossy(), clerk.token), 403)
    assert said(signed(lossy(), alma.token), 403)
    assert said(signed(lossy(), manager.token), 422)["field"] == "reason"
    told = signed(lossy(reason="A crucible cracked"), manager.token)
    assert told.status_code == 201, told.json()
    operation = Operation.objects.get(number="OP-2")
    assert (operation.countersigned_by, operation.countersign_meaning) == (manager.person, "Weighed again together")
    assert signed(lossy(reason="A crucible cracked"), manager.token).json()["replayed"]


def test_nobody_signs_for_himself(house):
    boss = does_all()
    working = [role for role in Role if role not in (Role.AUDITOR, Role.CUSTOMER)]
    set_roles(user=boss, roles=working, active=True, by=people.mona_manager())
    program = Program(boss)
    program.post("operations", receive())
    signature = {"Countersign-Authorization": f"Bearer {program.token}", "Countersign-Meaning": "I say so"}
    problem = said(program.post("operations", lossy(reason="Spilt"), key="k-2", **signature), 422)
    assert problem["code"] == "countersigned_by_another"


def test_other_addresses_and_methods_are_problems_too(alma):
    assert said(alma.get("nowhere"), 404)["code"] == "not_found"
    assert said(alma.get("operations/%00"), 404)["code"] == "not_found"
    assert said(alma.post("nowhere", "{}"), 404)
    answer = alma.client.put("/api/operations", headers=alma.headers)
    assert said(answer, 405)["code"] == "method_not_allowed"
    assert answer.headers["Allow"] == "POST"
    assert said(alma.client.get("/api/scales", headers=alma.headers | {"Host": "elsewhere.example"}), 400)


def test_a_problem_explains_itself(alma):
    told = alma.client.get("/api/problems/held_lot").json()
    assert (told["status"], told["field"]) == (409, "inputs")
    assert "until it is released" in told["rule"]
    assert alma.client.get("/api/problems/not_readable").json()["status"] == 400
    assert said(alma.client.get("/api/problems/nothing"), 404)


def test_a_failure_is_a_problem_without_a_traceback(alma, monkeypatch):
    def fail(**_):
        raise RuntimeError("the wires are crossed")

    monkeypatch.setattr("custody.api.operations.record_operation", fail)
    answer = alma.post("operations", receive())
    assert said(answer, 500)["code"] == "server_error"
    assert b"wires" not in answer.content


def test_the_document_is_open_and_loads_nothing_from_elsewhere(alma):
    answer = alma.client.get("/api/openapi.json")
    document = answer.json()
    assert (answer.status_code, document["openapi"]) == (200, "3.1.0")
    assert {"/api/operations", "/api/weighings", "/api/scales"} <= document["paths"].keys()
    assert alma.client.get("/api/docs").status_code == 404


def test_the_sample_plant_record_by_record(db):
    """A plant of two years, posted by one person who works every desk, as an import would have it."""
    lines = SAMPLE.read_text().splitlines()
    import_history(lines=[line for line in lines if '"operation"' not in line])
    add_place(code="COUNTER", name="Front counter", kind=PlaceKind.COUNTER, by=people.mona_manager())
    alma = Program(does_all())
    signature = {
        "Countersign-Authorization": f"Bearer {Program(people.max_manager()).token}",
        "Countersign-Meaning": "As recorded at the time",
    }
    records = [line for line in lines if '"operation"' in line]
    for number, record in enumerate(records):
        answer = alma.post("operations", record, key=str(number))
        if answer.status_code == 422 and answer.json()["code"] == "countersignature_needed":
            record = json.dumps(json.loads(record) | {"reason": "As recorded at the time"})
            answer = alma.post("operations", record, key=str(number), **signature)
        assert answer.status_code == 201, (record, answer.json())
    assert_stock_is_as_expected()
    findings = verify()
    assert findings.ok, findings.as_document()


def assert_stock_is_as_expected():
    expected = json.loads(SAMPLE.with_suffix(".expect.json").read_text())["stock"]
    stock = dict(Lot.objects.filter(gross_mg__gt=0).values_list("number", "gross_mg"))
    assert stock == {number: lot["gross"] for number, lot in expected.items()}


def test_two_at_once_record_once(committed_db):
    builders.places()
    people.party()
    program, start = Program(does_all()), Barrier(2)

    def send(_):
        start.wait()
        try:
            answer = Program.post(program, "operations", receive())
            return answer.status_code, answer.json()["replayed"]
        finally:
            connections.close_all()

    with ThreadPoolExecutor(2) as pool:
        assert sorted(pool.map(send, range(2))) == [(200, True), (201, False)]
    assert Operation.objects.count() == 1
