"""Tokens of the HTTP API: made once, shown once, kept as a hash, revoked for ever."""

import secrets

from django.db import transaction
from django.utils import timezone

from custody.actions._allowed import require
from custody.errors import Conflict, Refusal
from custody.models import ApiToken, User
from custody.queries.tokens import sha256_of
from custody.roles import Verb

#: Random bytes of a token; 64 hexadecimal digits, which a shell and a header take as they are.
BYTES = 32
#: How many digits of it the book keeps in plain, to tell one token from another.
START = 8


def make_token(*, user: User, by: User | None, seen: int | None = None) -> tuple[str, ApiToken]:
    """Makes a token in the name of ``user``, and gives it in plain, once; the book keeps its hash.

    ``by`` is empty only for the command. ``seen`` is the id of the last token that ``by`` saw (0 for none): a form sent
    twice makes one token. Raises ``NotAllowed``, and ``Refusal`` for a closed login and a form sent twice.
    """
    if by is not None:
        require(by, Verb.MANAGE_PEOPLE)
    token = secrets.token_hex(BYTES)
    with transaction.atomic(durable=True):
        person = User.objects.select_for_update().get(pk=user.pk)
        if not person.is_active:
            raise Refusal(f"The login {person.username} is closed: it can have no token.")
        last = ApiToken.objects.filter(user=person).order_by("id").last()
        if seen is not None and last and last.pk > seen:
            raise Conflict(
                f"Token {last.start}… was made meanwhile, and was shown once."
                " If you missed it, revoke it and make another."
            )
        return token, ApiToken.objects.create(user=person, sha256=sha256_of(token), start=token[:START])


def revoke_token(*, token: ApiToken, by: User | None) -> None:
    """Revokes a token for ever; one that was revoked before stays as it was. ``by`` is empty only for the command.

    Raises ``NotAllowed``.
    """
    if by is not None:
        require(by, Verb.MANAGE_PEOPLE)
    ApiToken.objects.filter(pk=token.pk, revoked_at=None).update(revoked_at=timezone.now(), revoked_by=by)
