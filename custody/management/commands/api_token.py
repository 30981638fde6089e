"""manage.py api_token USERNAME [--list | --revoke START]: keys of programs to the HTTP API."""

from django.core.management.base import CommandError

from custody.actions.tokens import make_token, revoke_token
from custody.errors import Refusal
from custody.management.ready import ReadyCommand
from custody.models import User
from custody.queries.tokens import tokens_of


class Command(ReadyCommand):
    help = "Prints a new token for “Authorization: Bearer …”, in the name of a person. It is shown once."

    def add_arguments(self, parser):
        parser.add_argument("username")
        other = parser.add_mutually_exclusive_group()
        other.add_argument("--list", action="store_true", help="list the person's tokens instead")
        other.add_argument("--revoke", metavar="START", help="revoke the token that starts so instead")

    def handle(self, *args, username, revoke, **options):
        user = User.objects.filter(username=username).first()
        if user is None:
            raise CommandError(f"There is no login {username}.")
        if options["list"]:
            self._list(user)
        elif revoke is not None:
            self._revoke(user, revoke)
        else:
            self._make(user)

    def _make(self, user):
        try:
            token, _ = make_token(user=user, by=None)
        except Refusal as refusal:
            raise CommandError(refusal.sentence) from refusal
        self.stdout.write(token)

    def _list(self, user):
        for token in tokens_of(user):
            standing = f"revoked {token.revoked_at:%Y-%m-%d}" if token.revoked_at else "works"
            self.stdout.write(f"{token.start}…  made {token.made_at:%Y-%m-%d %H:%M} UTC  {standing}")

    def _revoke(self, user, start):
        found = [token for token in tokens_of(user).filter(revoked_at=None) if token.start.startswith(start[:8])]
        if not start or len(found) != 1:
            raise CommandError(
                f"{len(found)} working tokens of {user.username} start with “{start}”. --list shows them; name one."
            )
        revoke_token(token=found[0], by=None)
        self.stdout.write(f"Token {found[0].start}… is revoked.")
