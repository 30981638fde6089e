"""What verify says of weighings that came to be in an unusual order, or were read by the scale itself."""

from datetime import timedelta

import pytest
from django.utils import timezone

from custody.actions.move import Passing, hand_over
from custody.actions.readings import keep_reading
from custody.actions.scales import find_faulty
from custody.actions.weigh import Weighed
from custody.errors import ScaleFailed
from custody.models import Weighing
from custody.queries.verify import verify
from tests import builders, people

pytestmark = pytest.mark.django_db


def test_a_fault_that_is_dated_back_leaves_what_was_weighed_before_it_was_known_in_the_book():
    lot = builders.handed_over(builders.received()[0], people.otto_operator(), weighed_mg=1_000_000)
    weighing = Weighing.objects.latest("id")
    scale = builders.scale()
    find_faulty(scale=scale, reason="Dropped", at=weighing.at - timedelta(microseconds=1), by=people.fiona_frontdesk())
    assert verify().ok
    with pytest.raises(ScaleFailed):
        builders.handed_over(lot, people.vera_vault(), "VAULT", weighed_mg=1_000_000)


def test_a_handover_by_a_reading_of_the_scale_is_not_keyed():
    (lot,) = builders.received()
    fiona, scale = people.fiona_frontdesk(), builders.scale()
    sent = keep_reading(
        scale=scale, value_ug=999_990_500, stable=True, line="", read_at=timezone.now(), by=fiona, key="1"
    )
    hand_over(
        lots=[Passing(lot.number, Weighed(scale.code, 999_990, gross_reading=sent.pk))],
        to_person=people.vera_vault(),
        to_place=builders.place("VAULT"),
        at=timezone.now(),
        by=fiona,
    )
    assert not lot.handovers.get().weighing.keyed
    assert verify().ok  # 999 990.5 mg is 999 990 mg, half to even
