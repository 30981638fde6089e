"""People and their roles. Every change names who made it."""

import re

from django.db import IntegrityError, transaction

from custody.actions._allowed import require
from custody.errors import Conflict, Refusal
from custody.models import Party, RoleGrant, User
from custody.roles import Verb
from custody.terms import Role

#: A login is typed at every desk and shown in lists: nothing in it can be mistaken for another.
PLAIN_LOGIN = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*", re.ASCII)


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

    The same person sent twice is one. Raises ``NotAllowed``, and ``Refusal`` for a login that is taken or not plain,
    and for a customer without a party or staff with one.
    """
    if by is None and User.objects.filter(role_grants__role=Role.MANAGER).exists():
        raise Refusal("Only a manager adds people.")
    if by is not None:
        require(by, Verb.MANAGE_PEOPLE)
    if (Role.CUSTOMER in roles) != (party is not None):
        raise Refusal("A customer belongs to a party, and only a customer does.")
    if Role.CUSTOMER in roles and len(roles) > 1:
        raise Refusal("A customer's login has no other role.")
    if not PLAIN_LOGIN.fullmatch(username):
        raise Refusal("Write the login in small letters, digits and hyphens, like fern-alder.").at("username")
    first, _, last = full_name.strip().partition(" ")
    user = User(username=username, first_name=first, last_name=last, party=party)
    user.set_password(password)
    try:
        with transaction.atomic(durable=True):
            user.save(force_insert=True)
            _grant(user, roles, by)
    except IntegrityError as error:
        there = User.objects.filter(username=username).first()
        if there and _is(there, user, password, roles):
            return there
        raise Refusal(f"There is a login {username} already. Choose another.").at("username") from error
    return user


def set_roles(
    *, user: User, roles: list[Role], active: bool, by: User, seen: tuple[frozenset[Role], bool] | None = None
) -> None:
    """Gives a person exactly these roles and opens or closes the login. Nobody changes their own.

    ``seen`` is what the roles and the login were when ``by`` looked; a change meanwhile is refused, unless it is this
    very one. Raises ``NotAllowed`` and ``Refusal``.
    """
    if user.pk == by.pk:
        raise Refusal("Nobody changes their own roles: another manager does.")
    with transaction.atomic(durable=True):
        # Both are locked: two managers who take the role from each other must not leave a book without one.
        both = User.objects.select_for_update().filter(pk__in=(user.pk, by.pk)).order_by("pk")
        locked = {one.pk: one for one in both}
        require(locked[by.pk], Verb.MANAGE_PEOPLE)
        person = locked[user.pk]
        if (Role.CUSTOMER in roles) != (person.party_id is not None) or (Role.CUSTOMER in roles and len(roles) > 1):
            raise Refusal("A customer belongs to a party and has no other role.")
        now, wanted = (person.roles, person.is_active), (frozenset(roles), active)
        if seen is not None and now not in (seen, wanted):
            raise Conflict("Somebody else changed this person meanwhile. Look again, then change it.")
        person.role_grants.exclude(role__in=roles).delete()
        _grant(person, [role for role in roles if role not in person.roles], by)
        person.is_active = active
        person.save(update_fields=["is_active"])
    user.is_active = active
    user.__dict__.pop("_roles", None)


def _grant(user: User, roles: list[Role], by: User | None) -> None:
    RoleGrant.objects.bulk_create([RoleGrant(user=user, role=role, granted_by=by) for role in roles])


def _is(there: User, asked: User, password: str, roles: list[Role]) -> bool:
    """Whether the login that is there is the very one asked for: the form was sent twice."""
    same = (there.get_full_name(), there.party_id) == (asked.get_full_name(), asked.party_id)
    return same and there.roles == frozenset(roles) and there.check_password(password)
