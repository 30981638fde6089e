"""The manager adds a person, gives and takes roles, and closes the login again."""

from urllib.error import HTTPError
from urllib.request import Request, urlopen

import pytest

from tests import people
from tests.journeys import house


def test_a_person_comes_changes_work_and_goes(at_work):
    manager = at_work(people.mona_manager())
    house.add_person(manager, "Nora Reed", "nora-reed", "three-quiet-furnaces", roles=("sampler", "assayer"))
    nora = at_work("nora-reed", "three-quiet-furnaces")
    nora.desk("Laboratory")
    assert not nora.page.get_by_role("link", name="Trace", exact=True).count()
    house.change_roles(manager, "nora-reed", take=("sampler", "assayer"), give=("auditor",))
    nora.desk("Today")
    nora.desk("Trace")
    nora.desk("Plant")
    assert not nora.main.get_by_role("link", name="Record a step").count(), "an auditor reads and changes nothing"
    house.close_login(manager, "nora-reed")
    nora.leads(lambda: nora.page.reload())
    assert nora.title == "Sign in"
    nora.fill_in({"Login": nora.username, "Password": nora.password})
    nora.leads(lambda: nora.page.keyboard.press("Enter"))
    assert nora.title == "Sign in"
    assert "No open login has this name and password." in nora.faults


def test_nobody_gives_roles_to_themselves(at_work):
    manager = at_work(people.mona_manager())
    manager.desk("People")
    manager.follow("mona")
    assert "Nobody changes their own roles: another manager does." in manager.text
    assert not manager.main.get_by_role("button", name="Record the change").count()


def test_a_program_comes_and_goes(at_work, live_site):
    people.fiona_frontdesk()
    manager = at_work(people.mona_manager())
    token = house.make_token(manager, "fiona")
    scales = Request(f"{live_site}/api/scales", headers={"Authorization": f"Bearer {token}"})
    with urlopen(scales) as answer:
        assert answer.status == 200
    house.to_person(manager, "fiona")
    assert token not in manager.page.content()
    house.revoke_token(manager, "fiona", token[:8])
    with pytest.raises(HTTPError, match="401"):
        urlopen(scales)
