"""manage.py first_manager: the house's name and its first manager, who adds everybody else on the screens."""

from getpass import getpass
from zoneinfo import available_timezones

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import CommandError

from custody.actions.house import describe_refinery
from custody.actions.people import add_person
from custody.errors import Refusal
from custody.management.ready import ReadyCommand
from custody.models import Refinery, RoleGrant, User
from custody.terms import Role


class Command(ReadyCommand):
    help = "Asks for the refinery's name, mark and time zone, and for its first manager."

    def handle(self, *args, **options):
        if RoleGrant.objects.filter(role=Role.MANAGER).exists():
            raise CommandError("This book has a manager already: a manager adds people on the screens.")
        try:
            house, person = self._house(), self._person()
        except EOFError as error:
            raise CommandError("Answer the questions at a terminal. Nothing was recorded.") from error
        try:
            # The house last: a book with a house and no manager would be nobody's.
            manager = add_person(**person, roles=[Role.MANAGER], by=None)
            if house:
                describe_refinery(**house, by=None)
        except Refusal as refusal:
            raise CommandError(refusal.sentence) from refusal
        self.stdout.write(f"{manager} may sign in as {manager.username}.")

    def _house(self):
        """What the book does not know of its house yet; every answer is checked before anything is recorded."""
        if Refinery.objects.exists():
            return None
        house = {
            "name": self._ask("Refinery's name: "),
            "address": self._ask("Address, on one line: ").replace(", ", "\n"),
            "mark": self._ask("Its mark on bars: "),
            "time_zone": self._ask("Time zone, like Europe/Oslo: "),
            "receipt_terms": "",
        }
        if house["time_zone"] not in available_timezones():
            raise CommandError(f"There is no time zone {house['time_zone']}. Use a name like Europe/Oslo.")
        return house

    def _person(self):
        username, full_name = self._ask("Manager's login: "), self._ask("Manager's full name: ")
        return {"username": username, "full_name": full_name, "password": self._password(username, full_name)}

    def _ask(self, question):
        answer = input(question).strip()
        if not answer:
            raise CommandError(f"{question.rstrip(': ')} is needed. Nothing was recorded.")
        return answer

    def _password(self, username, full_name):
        password = getpass("Password: ")
        if password != getpass("Password again: "):
            raise CommandError("The two passwords differ. Nothing was recorded.")
        try:
            validate_password(password, User(username=username, first_name=full_name))
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        return password
