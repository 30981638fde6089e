"""What every test stands on: an embedded PostgreSQL of its own, and a browser.

One server serves the whole run; each worker has its own migrated database. An ordinary database test
(`db`) runs as the application's role and is rolled back. A test that needs real commits, because it has
several writers or a browser, takes `committed_db`: a copy of the migrated database, dropped at its end.
pytest-django's `transactional_db` won't do, for it truncates, which no role of the application may.
"""

import os
import shutil
import signal
import tempfile
import threading

import django
import hypothesis
import pytest
from django.conf import settings
from django.core.management import call_command
from django.core.servers.basehttp import ThreadedWSGIServer, WSGIRequestHandler
from django.core.wsgi import get_wsgi_application
from django.db import connections

from refinery import embedded, roles

if "PYTEST_XDIST_WORKER" not in os.environ:  # workers inherit the environment of the run
    if settings.configured:
        raise pytest.UsageError(
            "Unset DJANGO_SETTINGS_MODULE: the tests choose their settings, and their own CUSTODY_HOME."
        )
    os.environ["CUSTODY_HOME"] = tempfile.mkdtemp(prefix="custody-tests-")
    os.environ["DJANGO_SETTINGS_MODULE"] = "refinery.settings"
    for name in ("DATABASE_URL", "DATABASE_OWNER_URL", "CUSTODY_PRODUCTION", "CUSTODY_HOSTS", "DJANGO_SECRET_KEY"):
        os.environ.pop(name, None)  # tests never reach the database or the settings of this machine
signal.signal(signal.SIGTERM, signal.default_int_handler)  # a run that is told to end still stops its server
settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # the real one is slow on purpose
django.setup()

HOME = settings.CUSTODY_HOME
CHROMIUM_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

hypothesis.settings.register_profile("tests", deadline=None)  # a busy machine is no failure
hypothesis.settings.load_profile("tests")


def pytest_unconfigure(config):
    if not hasattr(config, "workerinput"):
        embedded.stop_unless_used(HOME)
        shutil.rmtree(HOME, ignore_errors=True)


def use_database(name):
    """Point every Django connection, of this thread and of those to come, to the database."""
    connections.close_all()
    for connection in connections.all():
        connection.settings_dict["NAME"] = name


# The database


@pytest.fixture(scope="session")
def django_db_setup(django_db_blocker, worker_id):
    """The worker's migrated database, in place of pytest-django's, which the application's role would own."""
    name = f"test_{worker_id}"
    embedded.start(HOME, "-c", "fsync=off")
    embedded.create_database(HOME, name)
    use_database(name)
    with django_db_blocker.unblock():
        call_command("migrate", verbosity=0, interactive=False)
    connections.close_all()
    yield
    connections.close_all()
    embedded.leave(HOME)


@pytest.fixture
def committed_db(request, django_db_setup, django_db_blocker):
    """Real commits in a copy of the migrated database; gives its name."""
    if request.node.get_closest_marker("django_db") or "db" in request.fixturenames:
        pytest.fail("committed_db replaces db and the django_db mark: take one of them", pytrace=False)
    migrated = connections["default"].settings_dict["NAME"]
    copy = f"{migrated}_copy"
    connections.close_all()
    embedded.create_database(HOME, copy, template=migrated)
    use_database(copy)
    with django_db_blocker.unblock():
        yield copy
    use_database(migrated)
    embedded.drop_database(HOME, copy)


@pytest.fixture
def connect_as(django_db_setup):
    """Open psycopg connections (autocommit) to the current database past Django: connect_as("custody_app")."""
    opened = []

    def connect(user):
        opened.append(embedded.connect(HOME, connections["default"].settings_dict["NAME"], user))
        return opened[-1]

    yield connect
    for connection in opened:
        connection.close()


@pytest.fixture
def superuser_connection(connect_as):
    return lambda: connect_as(embedded.SUPERUSER)


@pytest.fixture
def owner_connection(connect_as):
    return lambda: connect_as(roles.OWNER)


@pytest.fixture
def app_connection(connect_as):
    return lambda: connect_as(roles.APP)


# The browser


class QuietHandler(WSGIRequestHandler):
    def log_message(self, *args):
        pass


@pytest.fixture
def live_site(committed_db):
    """The whole site on a free port, static files included; gives its base URL."""
    server = ThreadedWSGIServer(("127.0.0.1", 0), QuietHandler)
    server.set_app(get_wsgi_application())
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.05})
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}"
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture(scope="session")
def browser():
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium")
    if not chromium:
        pytest.fail("chromium is missing: make setup-dev says how to install it", pytrace=False)
    # Playwright keeps an event loop in this thread. Django takes it for an asynchronous view: it must be allowed
    # to query there, and it would lose, open, the connections that it made before.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    connections.close_all()
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=chromium, args=CHROMIUM_FLAGS)
        yield started
        connections.close_all()
        started.close()


@pytest.fixture
def console_errors():
    """What the browser complained of. A test that provokes a complaint asserts it here and clears it."""
    complaints = []
    yield complaints
    assert not complaints, f"the browser complained: {complaints}"


@pytest.fixture
def new_page(browser, live_site, console_errors):
    """Open a page with cookies of its own, for one person at one screen: new_page(width=390, height=844)."""
    contexts = []

    def open_page(width=1280, height=900):
        contexts.append(browser.new_context(base_url=live_site, viewport={"width": width, "height": height}))
        page = contexts[-1].new_page()
        page.on("console", lambda said: said.type == "error" and console_errors.append(f"{page.url}: {said.text}"))
        page.on("pageerror", lambda error: console_errors.append(f"{page.url}: {error}"))
        return page

    yield open_page
    for context in contexts:
        context.close()


@pytest.fixture
def page(new_page):
    return new_page()
