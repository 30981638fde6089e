"""Who gives roles to whom: never oneself, never unseen, never leaving a book without a manager."""

import threading
import time

import pytest
from django.db import connections

from custody.actions.people import add_person, set_roles
from custody.errors import NotAllowed, Refusal
from custody.models import RoleGrant, User
from custody.terms import Role
from tests import people


def added(**changed) -> User:
    told = {
        "username": "nils",
        "full_name": "Nils Rake",
        "password": people.PASSWORD,
        "roles": [Role.SAMPLER],
        "by": people.mona_manager(),
    }
    return add_person(**told | changed)


@pytest.mark.django_db
def test_the_same_person_sent_twice_is_one():
    assert added() == added()
    assert User.objects.filter(username="nils").count() == 1
    assert list(RoleGrant.objects.filter(user__username="nils").values_list("role", "granted_by__username")) == [
        ("sampler", "mona")
    ]


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        ({"full_name": "Nora Rake"}, "a login nils already"),
        ({"password": "another password"}, "a login nils already"),
        ({"roles": [Role.VAULT]}, "a login nils already"),
        ({"username": "Nils"}, "small letters"),
        ({"username": "nils\n"}, "small letters"),
        ({"username": "imported history"}, "small letters"),
        ({"username": "n2", "roles": [Role.CUSTOMER]}, "A customer belongs to a party"),
        ({"username": "n2", "by": None}, "Only a manager adds people."),
    ],
)
def test_a_person_that_may_not_be(changed, sentence):
    added()
    with pytest.raises(Refusal, match=sentence):
        added(**changed)
    assert User.objects.filter(username__startswith="n").count() == 1


@pytest.mark.django_db
def test_a_customer_belongs_to_a_party_and_is_nothing_else():
    party = people.party()
    assert added(roles=[Role.CUSTOMER], party=party).party == party
    for roles in ([Role.CUSTOMER, Role.SAMPLER], [Role.SAMPLER]):
        with pytest.raises(Refusal, match="customer"):
            added(username="n2", roles=roles, party=party)
        with pytest.raises(Refusal, match="customer"):
            set_roles(user=User.objects.get(username="nils"), roles=roles, active=True, by=people.mona_manager())


@pytest.mark.django_db
def test_only_a_manager_gives_roles_and_never_to_oneself():
    nils = added()
    for who in (people.fiona_frontdesk, people.adam_auditor, people.cora_customer):
        with pytest.raises(NotAllowed):
            set_roles(user=nils, roles=[Role.MANAGER], active=True, by=who())
        with pytest.raises(NotAllowed):
            added(username="n2", by=who())
    with pytest.raises(Refusal, match="their own"):
        set_roles(user=people.mona_manager(), roles=list(Role)[:-1], active=True, by=people.mona_manager())
    assert User.objects.get(username="nils").roles == {Role.SAMPLER}


@pytest.mark.django_db
def test_roles_are_exactly_what_was_given_and_say_by_whom():
    nils = added(roles=[Role.SAMPLER, Role.VAULT])
    set_roles(user=nils, roles=[Role.VAULT, Role.ASSAYER], active=False, by=people.max_manager())
    assert nils.roles == {Role.VAULT, Role.ASSAYER}
    assert not User.objects.get(username="nils").is_active
    assert {grant.role: grant.granted_by.username for grant in RoleGrant.objects.filter(user=nils)} == {
        "vault keeper": "mona",
        "assayer": "max",
    }


@pytest.mark.django_db
def test_a_change_that_was_not_seen_is_refused_and_the_same_one_is_done():
    nils = added()
    seen = (frozenset({Role.SAMPLER}), True)
    set_roles(user=nils, roles=[Role.VAULT], active=True, by=people.max_manager(), seen=seen)
    with pytest.raises(Refusal, match="Somebody else changed"):
        set_roles(user=nils, roles=[Role.ASSAYER], active=True, by=people.mona_manager(), seen=seen)
    set_roles(user=nils, roles=[Role.VAULT], active=True, by=people.mona_manager(), seen=seen)
    assert User.objects.get(username="nils").roles == {Role.VAULT}


def test_two_managers_cannot_dismiss_each_other(committed_db, superuser_connection):
    """Each takes the role from the other at the same moment: one of them remains.

    Both are held up at a manager's row until both have begun; without the lock both would have been allowed by then.
    """
    pair = people.mona_manager(), people.max_manager()
    refused = []

    def dismiss(by, user):
        try:
            set_roles(user=User.objects.get(pk=user.pk), roles=[], active=True, by=User.objects.get(pk=by.pk))
        except Refusal as refusal:
            refused.append(refusal)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=dismiss, args=order) for order in (pair, pair[::-1])]
    holder, watcher = superuser_connection(), superuser_connection()
    with holder.transaction():
        holder.execute("SELECT FROM custody_user FOR UPDATE")
        for thread in threads:
            thread.start()
        until = time.monotonic() + 20
        while watcher.execute("SELECT count(*) FROM pg_locks WHERE NOT granted").fetchone()[0] < 2:
            assert time.monotonic() < until, "the two never met"
            time.sleep(0.02)
    for thread in threads:
        thread.join()
    assert [type(refusal) for refusal in refused] == [NotAllowed]
    assert RoleGrant.objects.filter(role=Role.MANAGER).count() == 1
