"""The door of history: the sample plant to the milligram, a second import, and every kind of bad line."""

import json
from datetime import UTC, datetime, timedelta

import pytest
from django.conf import settings
from django.core.management.base import CommandError

from custody.actions.history import LineRefused, import_history
from custody.management.commands.import_history import Command, read_file
from custody.models import Lot, Operation, Party, Place, User
from custody.queries import trace
from custody.queries.verify import verify
from custody.terms import METALS

FOLDER = settings.BASE_DIR / "fixtures" / "history"
SAMPLE = FOLDER / "history-small.jsonl"
EXPECTED = json.loads((FOLDER / "history-small.expect.json").read_text())


@pytest.fixture
def sample(db):
    return import_history(lines=read_file(SAMPLE))


def test_the_sample_plant(sample):
    """One import for all that is expected of it: it takes a second."""
    operations = [json.loads(line) for line in SAMPLE.read_text().splitlines()]
    assert (
        sample.operations == sum(record["record"] == "operation" for record in operations) == Operation.objects.count()
    )
    assert sample.parties == Party.objects.count()
    assert_stock_is_as_expected()
    for serial, bar in EXPECTED["bars"].items():
        assert_bar_is_as_expected(serial, bar)
    for number, received in EXPECTED["origins"].items():
        fates = trace.forward_document(Lot.objects.get(number=number), graph=False)["metals"]
        totals = {metal: fates[metal]["total_mg"] for metal in fates}
        assert totals == {metal: mg for metal, mg in received.items() if mg}, number
    findings = verify()
    assert findings.ok, findings.as_document()


def assert_stock_is_as_expected():
    stock = {lot.number: lot for lot in Lot.objects.filter(gross_mg__gt=0)}
    assert stock.keys() == EXPECTED["stock"].keys()
    for number, lot in stock.items():
        expected = EXPECTED["stock"][number]
        assert lot.gross_mg == expected["gross"], number
        assert dict(zip(METALS, lot.metals_mg, strict=True)) == dict.fromkeys(METALS, 0) | expected["fine"], number


def assert_bar_is_as_expected(serial, bar):
    document = trace.back_document(trace.find_lot(serial))
    assert document["lot"] == bar["lot"]
    assert set(document["ancestors"]) == set(bar["ancestors"]), serial
    book = Lot.objects.get(number=bar["lot"])
    assert (book.gross_mg > 0) == bar["in_stock"]
    for metal, shares in bar["origins"].items():
        found = document["metals"].get(metal, {"origins": [], "difference_mg": 0, "total_mg": 0})
        told = {origin["origin"]: origin["mg"] for origin in found["origins"]} | {"difference": found["difference_mg"]}
        assert sum(told.values()) == found["total_mg"] == round(sum(shares.values())), (serial, metal)
        for origin in told.keys() | shares.keys():
            off = abs(told.get(origin, 0) - shares.get(origin, 0))
            assert off <= bar["depth"], (serial, metal, origin, off)


def test_a_second_import_changes_nothing(sample, tmp_path, capsys):
    before = list(Operation.objects.values_list("id", "sha256")), list(Lot.objects.values_list("id", "last_movement"))
    again = import_history(lines=read_file(SAMPLE))
    assert (again.operations, again.parties) == (0, 0)
    assert again.known == sample.operations + sample.parties
    assert (
        list(Operation.objects.values_list("id", "sha256")),
        list(Lot.objects.values_list("id", "last_movement")),
    ) == before
    Command().handle(file=str(SAMPLE))
    assert "0 operations and 0 parties" in capsys.readouterr().out


def test_the_rest_of_a_longer_file_is_taken(db):
    lines = read_file(SAMPLE)
    first = import_history(lines=lines[:40])
    whole = import_history(lines=lines)
    assert whole.known == first.operations + first.parties
    assert whole.operations + first.operations == Operation.objects.count()


HEADER = {"record": "header", "format": "custody-history", "version": 1}
PARTY = {"record": "party", "code": "P-01", "name": "Tern Valley Placer Cooperative", "country": "CA"}
RECEIPT = {
    "record": "operation", "number": "OP-1", "kind": "receive", "at": "2024-01-02T09:00:00+00:00", "party": "P-01",
    "outputs": [
        {"lot": "L-1", "form": "dore", "gross_g": "100.000", "fine_g": {"Au": "80.000", "Ag": "15.000"}},
        {"lot": "L-2", "form": "dore", "gross_g": "50.000", "fine_g": {"Au": "40.000"}},
        {"lot": "L-3", "form": "dore", "gross_g": "30.000"},
    ],
}  # fmt: skip
CAST = {
    "record": "operation", "number": "OP-2", "kind": "cast", "at": "2024-01-02T10:00:00+00:00",
    "inputs": [{"lot": "L-2", "gross_g": "10.000"}],
    "outputs": [{"lot": "B-1", "form": "bar", "serial": "A1", "gross_g": "10.000", "fine_g": {"Au": "8.000"}}],
}  # fmt: skip
MELT = {
    "record": "operation", "number": "OP-3", "kind": "melt", "at": "2024-01-02T11:00:00+00:00",
    "inputs": [{"lot": "L-1"}],
    "outputs": [{"lot": "L-4", "form": "melt", "gross_g": "100.000", "fine_g": {"Au": "80.000", "Ag": "15.000"}}],
}  # fmt: skip
GOOD = [json.dumps(record) for record in (HEADER, PARTY, RECEIPT, CAST)]


def melt(**changes):
    return json.dumps(MELT | changes)


def making(**changes):
    return melt(outputs=[MELT["outputs"][0] | changes])


def taking(*inputs):
    return melt(inputs=list(inputs))


BAD_LINES = {
    "a comma in a mass": (making(gross_g="100,000"), "outputs[0].gross_g"),
    "a unit in a mass": (making(gross_g="100.000 g"), "outputs[0].gross_g"),
    "four decimals": (making(gross_g="100.0001"), "outputs[0].gross_g"),
    "a mass as a number": (melt().replace('"100.000"', "100.5"), "100.5"),
    "a whole number": (melt().replace('"100.000"', "100"), "string of grams"),
    "an exponent in a string": (making(gross_g="1e2"), "outputs[0].gross_g"),
    "NaN in a string": (making(gross_g="NaN"), "outputs[0].gross_g"),
    "NaN": (melt().replace('"100.000"', "NaN"), "NaN"),
    "infinity": (melt().replace('"100.000"', "Infinity"), "Infinity"),
    "1e400": (melt().replace('"100.000"', "1e400"), "1e400"),
    "more than there is on earth": (making(gross_g="9" * 16 + ".000"), "outputs[0].gross_g"),
    "half a million digits": (making(gross_g="9" * 500_000), "outputs[0].gross_g"),
    "a million digits": (making(gross_g="9" * 1_000_000), "million characters"),
    "a million digits as a number": (melt().replace('"100.000"', "9" * 900_000), "line 5"),
    "zero mass": (making(gross_g="0.000"), "L-4"),
    "a negative mass": (making(gross_g="-1.000"), "outputs[0].gross_g"),
    "fullwidth digits": (making(gross_g="１００.000"), "outputs[0].gross_g"),
    "an unknown key": (melt(colour="red"), "colour"),
    "an unknown key inside": (making(colour="red"), "colour"),
    "an unknown metal": (making(fine_g={"Rh": "1.000"}), "Rh"),
    "an unknown kind": (melt(kind="conjure"), "conjure"),
    "an unknown form": (making(form="ingot"), "ingot"),
    "an unknown record": (melt(record="note"), "record"),
    "an unknown party": (melt(kind="dispatch", party="P-9", outputs=[]), "P-9"),
    "an unknown cause": (melt(losses=[{"cause": "magic", "gross_g": "1.000"}]), "magic"),
    "twin keys": (melt()[:-1] + ', "kind": "cast"}', "kind"),
    "twin keys inside": (melt().replace('"lot": "L-1"', '"lot": "L-1", "lot": "L-2"'), "lot"),
    "no offset": (melt(at="2024-01-02T11:00:00"), "offset"),
    "no time": (melt(at="yesterday"), "at"),
    "the thirteenth month": (melt(at="2024-13-02T11:00:00+00:00"), "at"),
    "in the future": (melt(at=(datetime.now(UTC) + timedelta(days=2)).isoformat()), "future"),
    "before the lot's last event": (melt(at="2024-01-02T08:00:00+00:00"), "later event"),
    "an unknown lot": (taking({"lot": "L-9"}), "L-9"),
    "a lot twice": (taking({"lot": "L-1"}, {"lot": "L-1"}), "L-1"),
    "a lot made twice": (making(lot="L-2"), "L-2"),
    "more than the lot": (taking({"lot": "L-1", "gross_g": "100.001"}), "0.001"),
    "an unvalued lot mixed": (taking({"lot": "L-1"}, {"lot": "L-3"}), "unvalued"),
    "unbalanced": (making(gross_g="99.000"), "1.000"),
    "outputs heavier than inputs": (making(gross_g="101.000"), "1.000"),
    "gold from nowhere": (making(fine_g={"Au": "80.001", "Ag": "15.000"}), "0.001"),
    "metals over gross": (making(fine_g={"Au": "80.000", "Ag": "20.001"}), "gross"),
    "a serial used again": (making(form="bar", serial="A1"), "Serial A1"),
    "a valuation without a lot": (melt(kind="value"), "valuation"),
    "a receipt with inputs": (melt(kind="receive", party="P-01"), "outputs only"),
    "a dispatch with outputs": (melt(kind="dispatch", party="P-01"), "no outputs"),
    "a number known with another body": (making(lot="L-5") .replace("OP-3", "OP-2"), "OP-2"),
    "an unknown custody model": (making(custody_model="mixed"), "mixed"),
    "an unknown step": (
        melt(kind="charge", step="stirring", outputs=[MELT["outputs"][0] | {"form": "in process", "vessel": "T-1"}]),
        "stirring",
    ),
    "about no day": (melt(about="last week"), "about"),
    "about a day that is not": (melt(about="2024-02-30"), "about"),
    "a long party": (json.dumps(PARTY | {"code": "P" * 31}), "code"),
    "a long mark": (making(form="bar", serial="A2", mark="M" * 21), "mark"),
    "a long vessel": (making(form="in process", vessel="V" * 31), "vessel"),
    "a long number": (melt(number="N" * 41), "number"),
    "a country in words": (json.dumps(PARTY | {"code": "P-2", "country": "Norway"}), "country"),
    "no JSON": ("{", "JSON"),
    "a list": ("[]", "object"),
    "a deep nest": ("[" * 100_000, "nest"),
    "a null": (melt(inputs=None), "inputs"),
    "a null byte": (melt(reason="a\x00b"), "reason"),
    "half a surrogate": (melt().replace("L-4", "L-\\ud800"), "outputs[0].lot"),
    "half a surrogate in words": (melt(reason="x").replace('"x"', '"\\ud800"'), "reason"),
    "a second header": (json.dumps(HEADER), "header"),
    "fifteen thousand outputs": (
        melt(outputs=[{"lot": f"N{n}", "form": "melt", "gross_g": "0.001"} for n in range(15_000)]), "line 5"),
}  # fmt: skip


def everything():
    return {model: model.objects.count() for model in (Operation, Lot, Party, Place, User)}


@pytest.mark.parametrize(("line", "word"), BAD_LINES.values(), ids=BAD_LINES.keys())
def test_a_bad_line(db, line, word):
    before = everything()
    with pytest.raises(LineRefused) as refused:
        import_history(lines=[*GOOD, line])
    assert str(refused.value).startswith("line 5: ")
    assert word in str(refused.value)
    assert len(str(refused.value)) < 400
    assert everything() == before


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "line 1:"),
        (b"\n \n", "line 1:"),
        (b"\xff\xfe", "line 1: This line is not UTF-8"),
        ("\n".join(GOOD[:2]).encode() + b'\n{"record":"\xe9"}', "line 3: This line is not UTF-8"),
        (GOOD[1].encode(), "line 1: The first record"),
        (json.dumps(HEADER | {"version": 2}).encode(), "line 1: The header must say"),
        (b"PK\x03\x04" + bytes(range(20, 256)), "line 1:"),
    ],
)
def test_a_file_that_is_no_history(db, tmp_path, content, said):
    file = tmp_path / "history.jsonl"
    file.write_bytes(content)
    before = everything()
    with pytest.raises(CommandError, match=f"^{said}"):
        Command().handle(file=str(file))
    assert everything() == before


def test_a_file_that_is_not_there(db, tmp_path):
    with pytest.raises(CommandError, match="No such file"):
        Command().handle(file=str(tmp_path / "nothing.jsonl"))


def test_a_byte_order_mark_and_empty_lines_are_no_fault(db, tmp_path):
    file = tmp_path / "history.jsonl"
    file.write_bytes(b"\xef\xbb\xbf" + "\r\n\r\n".join(GOOD).encode())
    assert import_history(lines=read_file(file)).operations == 2


def test_the_good_lines_are_good(db):
    """Without this the refusals above would prove nothing."""
    assert import_history(lines=[*GOOD, melt()]).operations == 3
    assert verify().ok
