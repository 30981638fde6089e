"""People and their roles. Every change names who made it."""

from django.db import transaction

from custody.actions._allowed import require
from custody.errors import Refusal
from custody.models import Party, RoleGrant, User
from custody.roles import Verb
from custody.terms import Role


def add_person(
    *,
    username: str,
    full_name: str,
    password: str,
    roles: list[Role],
    by: User | None,
    party: Party | None = None,
) -> User:
    """Adds a person with a login of their own. ``by`` is empty only for the first manager of a new book.

    Raises ``NotAllowed``, and ``Refusal`` for a customer without a party or staff with one.
    """
    if by is None and User.objects.filter(role_grants__role=Role.MANAGER).exists():
        raise Refusal("Only a manager adds people.")
    if by is not None:
        require(by, Verb.MANAGE_PEOPLE)
    if (Role.CUSTOMER in roles) != (party is not None):
        raise Refusal("A customer belongs to a party, and only a customer does.")
    if Role.CUSTOMER in roles and len(roles) > 1:
        raise Refusal("A customer's login has no other role.")
    first, _, last = full_name.partition(" ")
    with transaction.atomic(durable=True):
        if User.objects.filter(username=username).exists():
            raise Refusal(f"There is a login {username} already. Choose another.")
        user = User(username=username, first_name=first, last_name=last, party=party)
        user.set_password(password)
        user.save(force_insert=True)
        _grant(user, roles, by)
    return user


def set_roles(*, user: User, roles: list[Role], active: bool, by: User) -> None:
    """Gives a person exactly these roles and opens or closes the login. Nobody changes their own.

    Raises ``NotAllowed`` and ``Refusal``.
    """
    require(by, Verb.MANAGE_PEOPLE)
    if user.pk == by.pk:
        raise Refusal("Nobody changes their own roles: another manager does.")
    if (Role.CUSTOMER in roles) != (user.party_id is not None) or (Role.CUSTOMER in roles and len(roles) > 1):
        raise Refusal("A customer belongs to a party and has no other role.")
    with transaction.atomic(durable=True):
        user.role_grants.exclude(role__in=roles).delete()
        _grant(user, [role for role in roles if role not in user.roles], by)
        user.is_active = active
        user.save(update_fields=["is_active"])
    del user._roles


def _grant(user: User, roles: list[Role], by: User | None) -> None:
    RoleGrant.objects.bulk_create([RoleGrant(user=user, role=role, granted_by=by) for role in roles])
