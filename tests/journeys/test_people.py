"""The manager adds a person, gives and takes roles, and closes the login again."""

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
    assert not manager.main.get_by_role("button").count()
