"""The manager's people."""

from tests.journeys.person import Person


def add_person(manager: Person, name: str, username: str, password: str, *, roles: tuple = (), party: str = "") -> None:
    """A new login, with roles in the house or as a party's customer."""
    manager.desk("People")
    manager.follow("Add a person")
    manager.fill_in({"Full name": name, "Login": username, "First password": password})
    if party:
        manager.type("Customer of", party)
    for role in roles:
        manager.choose(role)
    manager.press("Add this person")
    assert f"{name} has a login now." in manager.told


def change_roles(manager: Person, username: str, *, take: tuple = (), give: tuple = ()) -> None:
    """Ticks and unticks roles."""
    to_person(manager, username)
    for role in take:
        manager.main.get_by_label(role, exact=True).uncheck()
    for role in give:
        manager.choose(role)
    manager.press("Record the change")
    assert f"{', '.join(give)}; the login is open." in manager.told


def close_login(manager: Person, username: str) -> None:
    """Who leaves keeps the name in the book, and no way in."""
    to_person(manager, username)
    manager.main.get_by_label("The login is open").uncheck()
    manager.press("Record the change")
    assert "the login is closed." in manager.told


def make_token(manager: Person, username: str) -> str:
    """A token for a program in that person's name; it is read from the only page that shows it."""
    to_person(manager, username)
    manager.press("Make a token")
    return manager.main.locator("code").inner_text()


def revoke_token(manager: Person, username: str, start: str) -> None:
    """A program that may record no more."""
    to_person(manager, username)
    manager.press(f"Revoke {start}…")
    assert f"Token {start}… is revoked" in manager.told


def to_person(manager: Person, username: str) -> None:
    """A person's page, from the list."""
    manager.desk("People")
    manager.follow(username)
