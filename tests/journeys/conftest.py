"""The house of a journey: its places and people stand ready; everything else is typed and clicked."""

import pytest

from tests import builders, people
from tests.journeys.eye import Eye
from tests.journeys.person import Person

CHAPTERS = (
    "campaign", "counter", "custody", "door", "exchange", "house", "laboratory", "mending", "plant", "runs", "scales",
    "tracing", "vault",
)  # fmt: skip
pytest.register_assert_rewrite(*(f"tests.journeys.{chapter}" for chapter in CHAPTERS))  # a failure shows the figures


@pytest.fixture(scope="session")
def eye():
    """One eye for all journeys: a page that was looked at in one need not be in the next."""
    return Eye()


@pytest.fixture
def at_work(new_page, eye):
    """Sends a person to work, signed in at a browser of their own: at_work(people.otto_operator())."""
    builders.places()
    people.mona_manager()
    for code in builders.SCALES:
        builders.scale(code)  # every scale passed this morning's check
    working = {}

    def work(login, password=people.PASSWORD) -> Person:
        name = str(getattr(login, "username", login))
        if name not in working:
            working[name] = Person(new_page(), eye, login, password).sign_in()
        return working[name]

    return work
