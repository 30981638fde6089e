"""Indications: kept beside the lot, never in the book."""

import pytest

from custody.models import Determination, Indication, Operation
from tests import builders, people
from tests.staff.plant.posting import body, faults

pytestmark = pytest.mark.django_db


def address(lot):
    return f"/laboratory/indication/{lot.number}/"


def xrf(shown="585", **more):
    return body(by_what="xrf", metal="Au", shown=shown, note="three spots", **more)


def density(in_air="10.000", in_water="9.330", **more):
    return body(by_what="density", metal="Au", in_air=in_air, in_water=in_water, **more)


@pytest.fixture
def lot():
    return builders.received()[0]


@pytest.mark.parametrize("person", [people.fiona_frontdesk, people.anna_assayer, people.sam_sampler])
def test_what_x_rays_show_is_kept_and_changes_nothing(lot, person):
    before = Operation.objects.count()
    answer = people.signed_in(person()).post(address(lot), xrf())
    assert answer.status_code == 302
    kept = Indication.objects.get()
    assert (kept.lot, kept.method, kept.low_ppm, kept.high_ppm) == (lot, "XRF indication", 585_000, 585_000)
    assert (Operation.objects.count(), Determination.objects.count()) == (before, 0)
    assert not builders.fresh(lot.number).valued


def test_density_is_a_range_with_its_figures(lot):
    """10.000 g in air and 9.330 g in water at 20 degrees: 14 899 kg/m3, between the alloys with silver and copper."""
    client = people.signed_in(people.fiona_frontdesk())
    assert client.post(address(lot), density()).status_code == 302
    kept = Indication.objects.get()
    assert kept.figures == "10.000 g in air, 9.330 g in water: 14899 kg/m³"
    assert 0 < kept.low_ppm < kept.high_ppm < 1_000_000
    assert "14899" in client.get(address(lot)).content.decode()


@pytest.mark.parametrize(
    ("said", "sentence"),
    [
        (xrf(shown=""), "is missing"),
        (xrf(shown="1001"), "more than 1000 per mille"),
        (xrf(shown="58,5"), "has a comma"),
        (density(in_water=""), "is missing"),
        (density(in_water="10.000"), "less in water than in air"),
        (density(in_air="10.000", in_water="9.600"), "No sound piece"),
        (body(by_what="density", metal="Ag", in_air="10", in_water="9"), "for gold only"),
    ],
)
def test_what_cannot_be_is_said_at_its_field_and_kept(lot, said, sentence):
    answer = people.signed_in(people.fiona_frontdesk()).post(address(lot), said)
    assert answer.status_code == 200
    assert sentence in faults(answer)
    assert not answer.context["form"].non_field_errors()
    assert not Indication.objects.exists()


def test_a_form_sent_twice_is_one_indication(lot):
    client = people.signed_in(people.fiona_frontdesk())
    said = xrf()
    assert [client.post(address(lot), said).status_code for _ in range(2)] == [302, 302]
    assert Indication.objects.count() == 1
    assert "with other figures" in faults(client.post(address(lot), said | {"shown": "750"}))


@pytest.mark.parametrize("person", [people.vera_vault, people.adam_auditor, people.cora_customer, people.stranger])
def test_who_may_not(lot, person):
    assert people.signed_in(person()).get(address(lot)).status_code == 403
    assert people.signed_in(person()).post(address(lot), xrf()).status_code == 403
    assert not Indication.objects.exists()
