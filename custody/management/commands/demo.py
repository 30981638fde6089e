"""manage.py demo: plays the invented refinery into an empty book, writes its papers, prints the logins, serves."""

import json
import shutil
from pathlib import Path

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import CommandError
from django.utils import timezone
from django.utils.text import slugify

from custody.management.demo import cast, desk, papers, story
from custody.management.ready import ReadyCommand
from custody.models import Document, Operation, Refinery, RoleGrant, User
from custody.queries.papers import path_of

ADDRESS = "127.0.0.1:8000"


class Command(ReadyCommand):
    help = "Loads the demo into an empty book, writes its papers, prints one login per role and serves the site."

    def add_arguments(self, parser):
        parser.add_argument("address", nargs="?", default=ADDRESS, help=f"where to serve (default {ADDRESS})")
        parser.add_argument("--no-serve", action="store_true", help="load and print, do not serve")
        parser.add_argument("--json", action="store_true", help="one JSON document and nothing else; does not serve")

    def handle(self, *args, address, no_serve, **options):
        self._load(quiet=options["json"])
        desk.check_scales(timezone.now())
        if options["json"]:
            self.stdout.write(json.dumps(self._facts(address)))
            return
        self._tell(address)
        if not no_serve:
            call_command("runserver", address, use_reloader=False)

    def _load(self, quiet):
        if Refinery.objects.exists():
            if not self._password_file.exists():
                raise CommandError("This book holds another refinery. The demo wants an empty CUSTODY_HOME.")
            return
        if Operation.objects.exists():
            raise CommandError("This book holds operations already. The demo wants an empty CUSTODY_HOME.")
        if not quiet:
            self.stdout.write("Playing four weeks at an invented refinery …")
        house = cast.set_up()
        story.play(house, timezone.now())
        papers.issue_all(house, timezone.now())
        self._keep(house.password)
        self._write_papers()

    @property
    def _password_file(self) -> Path:
        return settings.KEYS_FOLDER / "demo-password"

    @property
    def _papers_folder(self) -> Path:
        return settings.CUSTODY_HOME / "demo-papers"

    def _keep(self, password):
        self._password_file.parent.mkdir(parents=True, exist_ok=True)
        self._password_file.touch(mode=0o600)
        self._password_file.write_text(password)

    def _write_papers(self):
        self._papers_folder.mkdir(parents=True, exist_ok=True)
        for document in Document.objects.order_by("id"):
            name = f"{document.pk:03d}-{slugify(document.title)}.pdf"
            shutil.copyfile(path_of(document.sha256), self._papers_folder / name)

    def _facts(self, address):
        logins = [
            {"username": grant.user.username, "role": grant.role, "name": str(grant.user)}
            for grant in RoleGrant.objects.select_related("user").order_by("user_id")
            if grant.user.is_active
        ]
        return {
            "site": f"http://{address}/",
            "papers": str(self._papers_folder),
            "password": self._password_file.read_text(),
            "logins": logins,
            "people": User.objects.count(),
        }

    def _tell(self, address):
        facts = self._facts(address)
        self.stdout.write(f"\nPapers are in {facts['papers']}")
        self.stdout.write(f"The site is at {facts['site']}  (stop it with Ctrl-C)\n")
        self.stdout.write("\nLogins; all have the password  " + facts["password"])
        for login in facts["logins"]:
            self.stdout.write(f"  {login['username']:10} {login['role']:20} {login['name']}")
