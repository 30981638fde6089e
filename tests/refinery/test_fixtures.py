"""The fixtures of conftest.py hold what they promise."""

import threading

import pytest
from django.contrib.auth.models import Group
from django.db import connection, connections, transaction


@pytest.mark.parametrize("run", [1, 2])
def test_an_ordinary_test_is_rolled_back(db, run):
    assert not Group.objects.exists()
    with transaction.atomic(durable=True):
        Group.objects.create(name="keepers")


@pytest.mark.parametrize("run", [1, 2])
def test_committed_rows_are_seen_by_other_connections(
    committed_db, app_connection, owner_connection, superuser_connection, run
):
    assert not Group.objects.exists()

    def write(number):
        Group.objects.create(name=f"shift {number}")
        connections.close_all()

    writers = [threading.Thread(target=write, args=[number]) for number in range(8)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    ask = "SELECT current_user, current_database(), count(*) FROM auth_group"
    assert app_connection().execute(ask).fetchone() == ("custody_app", committed_db, 8)
    assert owner_connection().execute(ask).fetchone() == ("custody_owner", committed_db, 8)
    assert superuser_connection().execute(ask).fetchone() == ("postgres", committed_db, 8)
    assert connection.settings_dict["NAME"] == connections["owner"].settings_dict["NAME"] == committed_db


def test_a_complaint_of_the_browser_is_heard(page, console_errors):
    page.goto("/no-such-page")
    assert "404" in console_errors[0]
    with page.expect_event("pageerror"):
        page.evaluate("setTimeout(() => { throw new Error('spilt') })")
    assert "spilt" in console_errors[-1]
    console_errors.clear()


def test_pages_have_cookies_of_their_own(new_page):
    first, second = new_page(), new_page(width=390, height=844)
    first.context.add_cookies([{"name": "who", "value": "keeper", "url": "http://127.0.0.1"}])
    assert second.context.cookies() == []
    assert second.viewport_size == {"width": 390, "height": 844}
