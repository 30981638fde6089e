"""manage.py first_manager: the house's name and its first manager, who adds everybody else on the screens."""

from getpass import getpass

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import CommandError

from custody.actions.house import describe_refinery
from custody.actions.people import add_person
from custody.errors import Refusal
from custody.management.ready import ReadyCommand
from custody.models import Refinery, User
from custody.terms import Role


class Command(ReadyCommand):
    help = "Asks for the refinery's name, mark and time zone, and for its first manager."

    def handle(self, *args, **options):
        if Refinery.objects.exists():
            raise CommandError("This book has its refinery already: a manager adds people on the screens.")
        house = {
            "name": input("Refinery's name: ").strip(),
            "address": input("Address, on one line: ").strip().replace(", ", "\n"),
            "mark": input("Its mark on bars: ").strip(),
            "time_zone": input("Time zone, like Europe/Oslo: ").strip(),
            "receipt_terms": "",
        }
        username = input("Manager's login: ").strip()
        full_name = input("Manager's full name: ").strip()
        password = self._password(username, full_name)
        if not all((house["name"], house["mark"], username, full_name)):
            raise CommandError("Name, mark, login and full name are all needed. Nothing was recorded.")
        try:
            describe_refinery(**house, by=None)
            add_person(username=username, full_name=full_name, password=password, roles=[Role.MANAGER], by=None)
        except Refusal as refusal:
            raise CommandError(refusal.sentence) from refusal
        self.stdout.write(f"{full_name} may log in as {username}.")

    def _password(self, username, full_name):
        password = getpass("Password: ")
        if password != getpass("Password again: "):
            raise CommandError("The two passwords differ. Nothing was recorded.")
        try:
            validate_password(password, User(username=username, first_name=full_name))
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        return password
