"""People with fixed standing, one login each; a test asks for them by name and gets them made on first use.

`stranger` is a customer of another party: every screen is asked for by them too. All have the same PASSWORD.
"""

from django.test import Client

from custody.actions.house import add_party
from custody.actions.people import add_person
from custody.models import Party, User
from custody.terms import Role

PASSWORD = "seven grains of wheat"
PARTIES = {
    "P-01": ("Tern Valley Placer Cooperative", "CA"),
    "P-02": ("Old Mill Jewellers", "IE"),
    "P-03": ("Ketter Creek Mine", "PE"),
}


def mona_manager() -> User:
    """The first manager of the book, who adds everybody else."""
    return _known("mona") or add_person(
        username="mona", full_name="Mona Ravn", password=PASSWORD, roles=[Role.MANAGER], by=None
    )


def max_manager() -> User:
    """A second manager, for what Mona may not sign herself."""
    return _person("max", "Max Holl", Role.MANAGER)


def fiona_frontdesk() -> User:
    return _person("fiona", "Fiona Marl", Role.FRONT_DESK)


def sam_sampler() -> User:
    return _person("sam", "Sam Tarn", Role.SAMPLER)


def anna_assayer() -> User:
    return _person("anna", "Anna Bead", Role.ASSAYER)


def ada_assayer() -> User:
    """A second assayer, for what Anna determined."""
    return _person("ada", "Ada Cupel", Role.ASSAYER)


def otto_operator() -> User:
    return _person("otto", "Otto Flux", Role.OPERATOR)


def vera_vault() -> User:
    return _person("vera", "Vera Lock", Role.VAULT)


def matt_accountant() -> User:
    return _person("matt", "Matt Tally", Role.ACCOUNTANT)


def clara_compliance() -> User:
    return _person("clara", "Clara Ward", Role.COMPLIANCE)


def adam_auditor() -> User:
    return _person("adam", "Adam Quern", Role.AUDITOR)


def cora_customer() -> User:
    """A customer, of P-01."""
    return _person("cora", "Cora Tern", Role.CUSTOMER, party("P-01"))


def stranger() -> User:
    """A customer of P-02, to whom nothing of P-01's belongs."""
    return _person("stan", "Stan Strange", Role.CUSTOMER, party("P-02"))


#: Everybody who reads the book.
STAFF = (
    fiona_frontdesk,
    sam_sampler,
    anna_assayer,
    otto_operator,
    vera_vault,
    matt_accountant,
    clara_compliance,
    mona_manager,
    adam_auditor,
)
CUSTOMERS = (cora_customer, stranger)
EVERYBODY = STAFF + CUSTOMERS


def party(code: str = "P-01") -> Party:
    """One of PARTIES, as Mona entered it."""
    name, country = PARTIES[code]
    return Party.objects.filter(code=code).first() or add_party(
        code=code, name=name, country=country, by=mona_manager(), address=f"1 Weigh Lane\n{name.split()[0]}"
    )


def signed_in(person: User) -> Client:
    """A browser of this person's."""
    client = Client()
    client.force_login(person)
    return client


def _known(username: str) -> User | None:
    return User.objects.filter(username=username).first()


def _person(username: str, full_name: str, role: Role, of_party: Party | None = None) -> User:
    return _known(username) or add_person(
        username=username, full_name=full_name, password=PASSWORD, roles=[role], by=mona_manager(), party=of_party
    )
