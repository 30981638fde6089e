"""The commands as a shell sees them: what goes to standard output, what to standard error, and the exit code."""

import json

import pytest
from django.conf import settings as house_settings
from django.db import connections

from custody.actions.history import import_history
from custody.management.commands import balance, first_manager, trace
from custody.management.commands.import_history import read_file
from custody.models import Lot, Refinery, User
from custody.terms import Role
from tests import builders, people
from tests.queries.past import cast, dispatch, history, receive

pytestmark = pytest.mark.django_db
SAMPLE = house_settings.BASE_DIR / "fixtures" / "history" / "history-small.jsonl"


@pytest.fixture
def run(capsys, monkeypatch, settings):
    """Runs a command as ``manage.py`` does; gives exit code, standard output and standard error."""
    settings.EMBEDDED_DATABASE = False  # laid out already, and not with the connection of this test
    monkeypatch.setattr(connections, "close_all", lambda: None)  # a command's end would end the test's transaction

    def call(module, *words):
        code = 0
        try:
            module.Command().run_from_argv(["manage.py", module.__name__.rpartition(".")[2], *map(str, words)])
        except SystemExit as exit_:
            code = exit_.code
        return code, *capsys.readouterr()

    return call


def answer(told):
    """The one JSON document of a command that went well."""
    code, out, err = told
    assert (code, err) == (0, "")
    return json.loads(out)


def refusal(told):
    """The sentence of a command that was refused."""
    code, out, err = told
    assert (code, out) == (1, "")
    return err


@pytest.fixture
def two_years():
    """Serial A1 on a bar of 2023 and on one of 2024; A2 on one bar, which left."""
    builders.refinery()
    history(
        receive("L-1", day="2023-02-01"),
        cast("L-1", "L-2", serial="A1", day="2023-02-02"),
        receive("L-3", day="2024-02-01"),
        cast("L-3", "L-4", serial="A1", day="2024-02-02"),
        receive("L-5", day="2024-03-01"),
        cast("L-5", "L-6", serial="A2", day="2024-03-02"),
        dispatch("L-6", day="2024-03-03"),
    )


def test_trace_back_is_one_document_of_the_contract(run, two_years):
    assert answer(run(trace, "A2", "--back", "--json")) == {
        "lot": "L-6",
        "direction": "back",
        "metals": {
            "Au": {
                "total_mg": 900_000,
                "origins": [{"origin": "L-5", "party": "P-77", "receipt": "OP-L-5", "mg": 900_000}],
                "difference_mg": 0,
            }
        },
        "ancestors": ["L-5"],
    }


def test_trace_forward_is_one_document_of_the_contract(run, two_years):
    assert answer(run(trace, "L-5", "--forward", "--json")) == {
        "lot": "L-5",
        "direction": "forward",
        "metals": {
            "Au": {
                "total_mg": 900_000,
                "fates": [{"fate": "dispatched", "lot": "L-6", "operation": "OUT-L-6", "serial": "A2", "mg": 900_000}],
            }
        },
        "descendants": ["L-6"],
    }
    (in_the_vault,) = answer(run(trace, "L-1", "--forward", "--json"))["metals"]["Au"]["fates"]
    assert in_the_vault == {"fate": "bar", "lot": "L-2", "serial": "A1", "mg": 900_000}


def test_the_graph_is_left_out_on_demand(run, two_years):
    assert "ancestors" not in answer(run(trace, "A2", "--back", "--no-graph", "--json"))
    assert "descendants" not in answer(run(trace, "L-5", "--forward", "--no-graph", "--json"))


def test_a_serial_of_two_years_is_refused_with_its_candidates(run, two_years):
    assert "HFR A1 2023 (lot L-2), HFR A1 2024 (lot L-4)" in refusal(run(trace, "A1", "--back", "--json"))
    assert answer(run(trace, "HFR A1 2024", "--back", "--json"))["lot"] == "L-4"


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("X9", "--back"), "There is no lot and no bar X9."),
        (("L-2", "--forward"), "Lot L-2 is not a parcel"),
        (("L-2",), "one of the arguments --back --forward is required"),
        (("L-2", "--back", "--forward"), "not allowed with argument"),
    ],
)
def test_what_cannot_be_traced_says_so_on_standard_error(run, two_years, words, sentence):
    code, out, err = run(trace, *words, "--json")
    assert code in (1, 2)
    assert out == ""
    assert sentence in err


def test_a_bar_that_came_back_names_the_bar_and_has_no_ancestor(run, two_years):
    history(receive("L-7", day="2024-04-01", form="bar", returned_from="L-6"))
    back = answer(run(trace, "L-7", "--back", "--json"))
    assert (back["returned_from"], back["ancestors"]) == ("L-6", [])
    assert answer(run(trace, "L-7", "--forward", "--json"))["returned_from"] == "L-6"
    assert "Came back over the counter as this parcel: L-6" in run(trace, "L-7", "--back")[1]


def test_a_trace_for_people(run, two_years):
    code, out, _ = run(trace, "A2", "--back")
    assert code == 0
    assert "Au: 900.000 g\n           900.000 g  L-5 P-77 OP-L-5\n1 ancestors L-5\n" in out
    assert "  dispatched L-6 OUT-L-6 A2" in run(trace, "L-5", "--forward")[1]


def test_balance_is_one_document_of_the_contract(run):
    import_history(lines=read_file(SAMPLE))
    told = answer(run(balance, "--from", "2020-01-01", "--to", "2030-01-01", "--json"))
    assert (told["from"], told["to"]) == ("2020-01-01", "2030-01-01")
    assert set(told["metals"]) == {"Au", "Ag", "Pt", "Pd", "Cu"}
    for column in (told["gross"], *told["metals"].values()):
        came = column["opening"] + column["received"] + column["added"] + column["differences"]
        assert came == column["dispatched"] + sum(column["losses"].values()) + column["closing"]
    assert told["gross"]["closing"] == sum(Lot.objects.values_list("gross_mg", flat=True)) > 0
    code, out, _ = run(balance, "--from", "2020-01-01", "--to", "2030-01-01")
    assert code == 0
    assert f"{told['metals']['Au']['closing'] % 1000:03d}\nAg, g" in out


@pytest.mark.parametrize(
    ("days", "sentence"),
    [
        (("--from", "01.02.2024", "--to", "2024-02-02"), "'01.02.2024' is not a date: write it like 2026-01-31."),
        (("--from", "2024-02-02", "--to", "2024-02-01"), "The first day lies after the last."),
    ],
)
def test_days_that_make_no_span_are_refused(run, days, sentence):
    assert sentence in refusal(run(balance, *days, "--json"))


ANSWERS = {
    "Refinery's name: ": "Harrow Fell Refinery",
    "Address, on one line: ": "4 Assay Row, Harrow Fell",
    "Its mark on bars: ": "HFR",
    "Time zone, like Europe/Oslo: ": "Pacific/Auckland",
    "Manager's login: ": "maren",
    "Manager's full name: ": "Maren Voss",
    "Password: ": people.PASSWORD,
    "Password again: ": people.PASSWORD,
}


@pytest.fixture
def ask(run, monkeypatch):
    """Runs first_manager with these answers changed."""

    def call(**changed):
        said = ANSWERS | {next(key for key in ANSWERS if word in key): text for word, text in changed.items()}
        monkeypatch.setattr("builtins.input", said.__getitem__)
        monkeypatch.setattr(first_manager, "getpass", said.__getitem__)
        return run(first_manager)

    return call


def test_the_first_manager_and_the_house(ask):
    code, out, _ = ask()
    assert (code, out) == (0, "Maren Voss may sign in as maren.\n")
    refinery, manager = Refinery.objects.get(), User.objects.get()
    assert (refinery.mark, refinery.time_zone) == ("HFR", "Pacific/Auckland")
    assert refinery.address == "4 Assay Row\nHarrow Fell"
    assert manager.roles == {Role.MANAGER}
    assert manager.check_password(people.PASSWORD)
    assert "has a manager already" in refusal(ask(login="another"))


@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"mark": ""}, "Its mark on bars is needed."),
        ({"full": "  "}, "Manager's full name is needed."),
        ({"zone": "Mars/Olympus"}, "There is no time zone Mars/Olympus."),
        ({"again": "another"}, "The two passwords differ."),
        ({"Password: ": "12345678", "again": "12345678"}, "too common"),
        ({"login": "Maren Voss"}, "small letters, digits and hyphens"),
    ],
)
def test_what_the_first_manager_may_not_be(ask, changed, sentence):
    assert sentence in refusal(ask(**changed))
    assert not Refinery.objects.exists()
    assert not User.objects.exists()


def test_a_book_with_a_house_and_no_manager_is_not_locked(ask):
    builders.describe_refinery(
        name="Harrow Fell Refinery", address="", mark="HFR", time_zone="UTC", receipt_terms="", by=None
    )
    assert ask()[0] == 0
    assert Refinery.objects.get().time_zone == "UTC"


def test_no_terminal_no_manager(run, monkeypatch):
    def closed(question):
        raise EOFError

    monkeypatch.setattr("builtins.input", closed)
    assert "at a terminal" in refusal(run(first_manager))
    assert not Refinery.objects.exists()
