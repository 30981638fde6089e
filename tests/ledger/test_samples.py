"""Samples past the application's code: what is said of one comes with its operation alone, and stays."""

import psycopg
import pytest
from django.db import transaction
from django.utils import timezone

from custody import errors
from custody.actions import _post
from custody.actions._sign import Signature
from custody.actions._steps import Make, Take, record
from custody.actions.weigh import Weighed
from custody.models import Lot, Operation, Sample, SampleSeal
from custody.terms import Form, Kind
from refinery import roles
from tests import builders, people
from tests.ledger.scene import now


@pytest.fixture(scope="module")
def lot(book):
    return builders.handed_over(builders.received(90_000)[0], people.sam_sampler())


def drawing(lot, *samples, kind="sample"):
    outputs = [{"form": "sample", "gross_mg": 100} | ({"sample": said} if said else {}) for said in samples]
    request = {"kind": kind, "at": now(), "by": people.sam_sampler().pk, "outputs": outputs}
    return request | {"inputs": [{"lot": lot.number, "gross_mg": 100 * len(samples)}]}


def posted(request):
    """What an operation made of samples, then rolled back."""
    with transaction.atomic():
        made = _post.post_in_transaction(request)
        rows = [Sample.objects.filter(lot__number=number).values().first() for number in made.lots]
        transaction.set_rollback(True)
    return [row and {key: value for key, value in row.items() if key != "lot_id"} for row in rows]


def test_what_is_said_of_a_sample_is_kept_with_it(lot):
    said = {"cut": "dip", "purpose": "umpire", "seal": "S-1", "position": "end", "witness": "L. Quill"}
    assert posted(drawing(lot, said, {"cut": "pin", "purpose": "laboratory"}, None)) == [
        said,
        {"cut": "pin", "purpose": "laboratory", "seal": "", "position": "", "witness": ""},
        None,  # of an old record nothing is known
    ]


def test_only_a_sampling_says_it(lot):
    assert posted(drawing(lot, {"cut": "dip", "purpose": "umpire"}, kind="divide")) == [None]


@pytest.mark.parametrize(
    "said",
    [
        {"cut": "axe", "purpose": "umpire"},
        {"cut": "dip", "purpose": "myself"},
        {"cut": "dip"},
        {"purpose": "umpire"},
        {"cut": None, "purpose": "umpire"},
        {"cut": "DIP", "purpose": "umpire"},
    ],
)
def test_words_that_are_none_are_refused_whole(lot, said):
    before = Operation.objects.count()
    with pytest.raises(errors.SampleRule) as caught, _post.refusals(), transaction.atomic():
        _post.post_in_transaction(drawing(lot, {"cut": "dip", "purpose": "umpire"}, said))
    assert caught.value.field == "sample"
    assert Operation.objects.count() == before


def test_only_a_sample_has_a_cut(lot):
    request = drawing(lot, {"cut": "dip", "purpose": "umpire"})
    request["outputs"][0]["form"] = "granules"
    with pytest.raises(errors.SampleRule), _post.refusals(), transaction.atomic():
        _post.post_in_transaction(request)


def test_the_application_says_nothing_of_a_sample_by_itself(attack, book):
    one = Lot.objects.filter(form="sample", gross_mg__gt=0).first()
    statement = "INSERT INTO custody_sample SELECT %s, 'pin', 'reserve', '', '', ''"
    with attack(roles.APP) as connection, pytest.raises(psycopg.errors.InsufficientPrivilege):
        connection.execute(statement, (one.pk,))


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE custody_sample SET seal = 'S-99'",
        "UPDATE custody_sample SET purpose = 'reserve'",
        "DELETE FROM custody_sample",
        "UPDATE custody_sampleseal SET seal = 'S-99'",
        "DELETE FROM custody_sampleseal",
    ],
)
def test_nobody_changes_a_seal_later(refused, book, change):
    assert Sample.objects.exists()
    assert SampleSeal.objects.exists()
    assert refused(change) == "append_only"


# What goes into a melt is weighed again


@pytest.mark.parametrize(("net_mg", "rule"), [(89_800, None), (89_799, "handover_difference")])
def test_a_melt_takes_no_weight_that_the_scales_do_not_explain(lot, net_mg, rule):
    """BENCH-2 (II, e 0.1 g) may be off 0.1 g in service at 90 g, twice."""
    builders.scale("BENCH-2")

    def melted(**signed):
        with transaction.atomic():
            _record_melt(lot, net_mg, **signed)
            transaction.set_rollback(True)

    if rule is None:
        melted()
        return
    with pytest.raises(errors.HandoverDifference), _post.refusals():
        melted()
    with pytest.raises(errors.HandoverDifference), _post.refusals():
        melted(reason="no signature")
    signed = Signature(people.mona_manager(), "weighed again together")
    melted(reason="a corner broke off", countersign=signed)


def _record_melt(lot, net_mg, **signed):
    record(
        kind=Kind.MELT,
        inputs=[Take(lot.number)],
        outputs=[Make(Form.MELT, lot.gross_mg)],
        weighed_in={lot.number: Weighed("BENCH-2", net_mg)},
        at=timezone.now(),
        by=people.sam_sampler(),
        **signed,
    )
