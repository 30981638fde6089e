"""manage.py api_token: a token and nothing else on standard output; kept as a hash; exit code 0 only on success."""

import hashlib

import pytest
from django.db import connections

from custody.actions.people import set_roles
from custody.management.commands import api_token
from custody.models import ApiToken
from custody.queries.tokens import holder_of
from custody.terms import Role
from tests import people

pytestmark = pytest.mark.django_db


@pytest.fixture
def run(capsys, monkeypatch, settings):
    settings.EMBEDDED_DATABASE = False
    monkeypatch.setattr(connections, "close_all", lambda: None)

    def call(*words):
        code = 0
        try:
            api_token.Command().run_from_argv(["manage.py", "api_token", *words])
        except SystemExit as exit_:
            code = exit_.code
        return code, *capsys.readouterr()

    return call


def test_a_token_is_printed_alone_and_kept_as_a_hash(run):
    fiona = people.fiona_frontdesk()
    code, out, err = run("fiona")
    token = out.strip()
    assert (code, err, out) == (0, "", f"{token}\n")
    assert len(bytes.fromhex(token)) == 32
    row = ApiToken.objects.get()
    assert (row.user, row.sha256) == (fiona, hashlib.sha256(token.encode()).hexdigest())
    assert holder_of(token) == fiona
    assert run("fiona")[1] != out


def test_tokens_are_listed_and_revoked(run):
    people.fiona_frontdesk()
    token, other = run("fiona")[1].strip(), run("fiona")[1].strip()
    code, out, _ = run("fiona", "--list")
    assert code == 0
    assert {line[:8] for line in out.splitlines()} == {token[:8], other[:8]}
    assert run("fiona", "--revoke", token[:8])[0] == 0
    assert (holder_of(token), holder_of(other)) == (None, people.fiona_frontdesk())
    assert "revoked" in run("fiona", "--list")[1]
    for start in (token[:8], "", "zz"):
        code, out, err = run("fiona", "--revoke", start)
        assert (code, out) == (1, "")
        assert "tokens of fiona start with" in err


def test_an_unknown_or_closed_login_gets_none(run):
    assert run("nobody") == (1, "", "CommandError: There is no login nobody.\n")
    set_roles(user=people.fiona_frontdesk(), roles=[Role.FRONT_DESK], active=False, by=people.mona_manager())
    code, out, err = run("fiona")
    assert (code, out) == (1, "")
    assert "is closed" in err
    assert not ApiToken.objects.exists()
