"""Whose metal a program may say and take: no figure that is exchanged, no own assay, nothing that is owed."""

from django.utils import timezone

from custody.queries.verify import verify
from tests import builders, exchanges, people
from tests.api.conftest import Program
from tests.api.test_operations import melt, receive, said


def test_a_lot_under_exchange_is_valued_by_its_exchange_alone(alma):
    lot = exchanges.due()
    value = {"record": "operation", "number": "OP-2", "kind": "value", "lot": lot.number, "fine_g": {"Au": "801.000"}}

    def refused():
        problem = said(alma.post("operations", value | {"at": timezone.now().isoformat()}, key="k-2"), 409)
        assert problem["field"] == "fine_g"
        return problem["code"]

    assert refused() == "exchange_due"
    exchanges.opened(lot)
    assert refused() == "exchange_open"


def test_who_assayed_a_lot_does_not_value_it_by_a_program(house):
    (lot,) = builders.received()
    exchanges.determined(lot, by=people.anna_assayer(), Au=800_000)
    value = {"record": "operation", "number": "OP-9", "kind": "value", "lot": lot.number, "fine_g": {"Au": "80.000"}}
    value["at"] = timezone.now().isoformat()
    own = said(Program(people.anna_assayer()).post("operations", value), 409)
    assert (own["code"], own["field"]) == ("accepted_by_another", "fine_g")
    assert Program(people.ada_assayer()).post("operations", value).status_code == 201
    assert builders.fresh(lot.number).au_mg == 80_000


def test_no_program_says_the_metal_of_a_parcel_whose_assays_are_exchanged(alma):
    exchanges.terms()
    today = timezone.now().isoformat()
    problem = said(alma.post("operations", receive(at=today)), 422)
    assert (problem["code"], problem["field"], problem["lot"]) == ("exchange_agreed", "outputs[0]", "L-1")
    swept = receive(at=today)
    swept["outputs"][0]["form"] = "slag"
    assert alma.post("operations", swept).status_code == 201  # no material of the party's
    unsaid = receive("L-2", "OP-2", at=today)
    del unsaid["outputs"][0]["fine_g"]
    assert alma.post("operations", unsaid, key="k-2").status_code == 201
    assert not builders.fresh("L-2").valued
    before = receive("L-3", "OP-3")  # delivered when nothing was agreed
    assert alma.post("operations", before, key="k-3").status_code == 201


def test_no_program_takes_metal_that_is_owed_or_somebody_elses(alma):
    alma.post("operations", receive(basis="toll"))
    alma.post("operations", receive("L-2", "OP-2", party="P-02", basis="toll"), key="k-2")
    alma.post("operations", melt("L-1", "L-2", number="OP-3", gross="2000.000", gold="1600.000",
                                 outputs=[{"lot": "L-M", "form": "melt", "gross_g": "2000.000",
                                           "fine_g": {"Au": "1600.000", "Ag": "300.000"}}]), key="k-3")  # fmt: skip

    def sent(party, gross, number="OP-4"):
        record = {"record": "operation", "number": number, "kind": "dispatch", "at": "2024-01-03T09:00:00Z"}
        return alma.post(
            "operations", record | {"party": party, "inputs": [{"lot": "L-M", "gross_g": gross}]}, key=gross
        )

    covered = said(sent("P-01", "1000.010"), 409)  # a little more than its claim: the rest is P-02's
    assert (covered["code"], builders.fresh("L-M").gross_mg) == ("cover", 2_000_000)
    assert said(sent("P-03", "0.010"), 409)["code"] == "cover"
    assert sent("P-01", "1000.000").status_code == 201
    assert said(sent("P-01", "0.020", "OP-5"), 409)["code"] == "cover"
    assert verify().ok
