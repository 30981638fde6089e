"""The table of prices on screen: shown, drawn, entered, read from a file, confirmed by another person."""

from decimal import Decimal
from uuid import uuid4

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from custody.models import Price, PriceConfirmation, PriceImport, PriceLimit
from tests import builders, people, settling
from tests.prices import SOURCE, day, entered, file_of

WHERE = "/settlement/prices/"
RULES = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]}
rolled_back = pytest.mark.django_db


def of(who):
    return people.signed_in(who())


def words(answer):
    return " ".join(answer.content.decode().split())


def price(**changes):
    return {
        "request_key": str(uuid4()), "metal": "Au", "currency": "USD", "fixing": "daily", "day": day().isoformat(),
        "amount": "2000.50", "per": "ozt", "source": SOURCE, "reason": "",
    } | changes  # fmt: skip


def send_file(client, text, **more):
    content = text if isinstance(text, bytes) else text.encode()
    return client.post(f"{WHERE}file/", {"file": SimpleUploadedFile("prices.csv", content), "look": "1"} | more)


def record(client, page, **more):
    context = page.context
    return client.post(
        f"{WHERE}file/", {"seen": context["shown"], "reason": ""} | context["carried"] | more, follow=True
    )


# Who may


@rolled_back
@pytest.mark.parametrize("page", ["", "doubtful/", "limits/", "price/{pk}/"])
def test_staff_read_the_table_and_customers_do_not(page):
    page = WHERE + page.format(pk=entered().pk)
    for who in people.STAFF:
        assert of(who).get(page).status_code == 200, who.__name__
    for who in people.CUSTOMERS:
        assert of(who).get(page).status_code == 403
    assert Client().get(page).url.startswith("/sign-in/?next=/")


@rolled_back
def test_each_act_has_its_roles():
    wrong = entered("1", ago=1) and entered("2000")
    acts = {
        "enter/": {people.matt_accountant},
        "file/": {people.matt_accountant},
        "doubtful/": {people.matt_accountant, people.mona_manager},
        "limits/": {people.mona_manager},
    }
    for page, allowed in acts.items():
        for who in people.EVERYBODY:
            code = of(who).post(WHERE + page, {"prices": str(wrong.pk)}).status_code
            assert code == (200 if who in allowed else 403), (page, who.__name__)
    assert Price.objects.count() == 2
    assert not PriceConfirmation.objects.exists()


@rolled_back
def test_what_is_not_there_is_not_there():
    assert of(people.adam_auditor).get(f"{WHERE}price/99999999999999999999999/").status_code == 404


# By hand


@rolled_back
def test_a_price_is_entered_and_the_next_is_filled_in_like_it():
    client = of(people.matt_accountant)
    answer = client.post(f"{WHERE}enter/", price(currency="usd", fixing=" Afternoon "), follow=True)
    one = Price.objects.get()
    assert answer.redirect_chain[-1][0] == f"{WHERE}price/{one.pk}/"
    assert (one.currency, one.fixing, one.amount, one.by) == (
        "USD", "afternoon", Decimal("2000.50"), people.matt_accountant(),
    )  # fmt: skip
    text = words(answer)
    for said in ("2\u202f000.50 USD/ozt", SOURCE, "by hand", "Matt Tally", "is recorded"):
        assert " ".join(said.split()) in " ".join(text.split())
    form = client.get(f"{WHERE}enter/").context["form"]
    assert [form[name].initial for name in ("metal", "currency", "fixing", "per", "source")] == [
        "Au", "USD", "afternoon", "ozt", SOURCE,
    ]  # fmt: skip


@rolled_back
def test_a_form_sent_twice_is_one_price():
    client, sent = of(people.matt_accountant), price()
    for _ in range(2):
        assert client.post(f"{WHERE}enter/", sent).status_code == 302
    assert Price.objects.count() == 1
    assert "recorded" in words(client.post(f"{WHERE}enter/", sent | {"amount": "2001"}))  # the key of another entry
    assert Price.objects.count() == 1


@rolled_back
@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"amount": "2000,50"}, "has a comma"),
        ({"amount": "2 000.50"}, "not a plain number"),
        ({"amount": "2000.50 USD"}, "not a plain number"),
        ({"amount": "-1"}, "is negative"),
        ({"amount": "0"}, "is zero"),
        ({"amount": "NaN"}, "is not a number"),
        ({"amount": "1e400"}, "with an exponent"),
        ({"amount": "9" * 1_000_000}, "1000000 characters long"),
        ({"amount": "2000.00001"}, "more than 4 decimals"),
        ({"amount": ""}, "Price is missing"),
        ({"currency": "UDS"}, "is no currency"),
        ({"currency": "dollars!!!!"}, "at most 10 characters"),
        ({"metal": "Fe"}, "Select a valid choice"),
        ({"per": "kg"}, "Select a valid choice"),
        ({"fixing": " "}, "Fixing is missing"),
        ({"fixing": "x" * 41}, "at most 40 characters"),
        ({"source": ""}, "Source is missing"),
        ({"day": day(-1).isoformat()}, "of today or of an earlier day"),
        ({"day": "31.01.2024"}, "Give a day, like 2024-01-31."),
        ({"request_key": "x"}, "Open it again"),
    ],
)
def test_what_can_not_be_read_is_said_and_kept(changes, said):
    answer = of(people.matt_accountant).post(f"{WHERE}enter/", price(reason="A note that stays") | changes)
    assert answer.status_code == 200
    assert said in words(answer)
    assert "A note that stays" in words(answer)
    assert not Price.objects.exists()


@rolled_back
def test_a_price_that_stands_is_replaced_with_a_reason_and_both_are_shown():
    client, first = of(people.matt_accountant), entered("2000")
    form = client.get(f"{WHERE}enter/?like={first.pk}").context["form"]
    assert (form["day"].initial, form["amount"].initial) == (day(), Decimal("2000.00"))
    assert "Say why this one replaces it" in words(client.post(f"{WHERE}enter/", price(amount="2001")))
    answer = client.post(f"{WHERE}enter/", price(amount="2001", reason="A slip of the keys"), follow=True)
    assert "A slip of the keys" in words(answer)
    assert "2\u202f000.00" in answer.content.decode()
    text = words(client.get(f"{WHERE}price/{first.pk}/"))
    assert "Another price took its place" in text
    assert "Replace it" not in text


# Doubtful


@rolled_back
def test_a_doubtful_price_is_said_and_another_person_confirms_it():
    entered("2000", ago=1)
    matt, mona = of(people.matt_accountant), of(people.mona_manager)
    answer = matt.post(f"{WHERE}enter/", price(amount="2200"), follow=True)
    assert "it is doubtful. Nothing is settled at it until another accountant or a manager confirms it." in words(
        answer
    )
    one = Price.objects.get(doubtful=True)
    assert "1 price waits for a second person" in words(matt.get(WHERE))
    own = words(matt.get(f"{WHERE}doubtful/"))
    assert "another person" in own
    assert "checkbox" not in own
    assert "Doubtful prices to confirm" in words(mona.get("/"))
    assert "Doubtful prices to confirm" not in words(matt.get("/"))
    page = words(mona.get(f"{WHERE}doubtful/"))
    assert "+10.00" in page
    for sent, said in (
        ({"note": "Seen"}, "Choose at least one price"),
        ({"prices": one.pk}, "How you know is missing"),
        ({"prices": "9" * 30, "note": "Seen"}, "Choose at least one price"),
    ):
        assert said in words(mona.post(f"{WHERE}doubtful/", sent))
    refused = words(matt.post(f"{WHERE}doubtful/", {"prices": one.pk, "note": "I am sure"}))
    assert "Who enters a price does not confirm it" in refused
    assert not PriceConfirmation.objects.exists()
    for said in ("1 of the doubtful prices now count", "They were confirmed before"):
        answer = mona.post(f"{WHERE}doubtful/", {"prices": one.pk, "note": "Read on the sheet"}, follow=True)
        assert said in words(answer)
    text = words(mona.get(f"{WHERE}price/{one.pk}/"))
    assert "Read on the sheet" in text
    assert "Mona Ravn" in text


@rolled_back
def test_a_manager_sets_the_limit():
    sent = {
        "request_key": str(uuid4()),
        "metal": "Ag",
        "jump_ppm": "8",
        "valid_from": day().isoformat(),
        "note": "Wild",
    }
    mona = of(people.mona_manager)
    for _ in range(2):
        assert "The limit of Ag from" in words(mona.post(f"{WHERE}limits/", sent, follow=True))
    assert PriceLimit.objects.get().jump_ppm == 80_000
    for changes, said in (
        ({"jump_ppm": "0"}, "is zero"),
        ({"jump_ppm": "5,5"}, "has a comma"),
        ({"jump_ppm": "101"}, "100"),
        ({"valid_from": day(1).isoformat()}, "from today or a later day"),
    ):
        answer = words(mona.post(f"{WHERE}limits/", sent | {"request_key": str(uuid4())} | changes))
        assert said in answer
        assert "Wild" in answer
    assert PriceLimit.objects.count() == 1


# By file


@rolled_back
def test_a_file_is_shown_before_it_is_recorded_and_read_once():
    client = of(people.matt_accountant)
    text = file_of("2000", "2300", "2010", ago=3)
    page = send_file(client, text)
    said = words(page)
    assert "3 new, 0 that replace others, 0 that stand already; 1 doubtful." in said
    assert "new, the first of this metal, currency and fixing" in said
    assert not Price.objects.exists()
    answer = record(client, page)
    assert "3 prices of prices.csv recorded." in words(answer)
    assert "1 of them doubtful." in words(answer)
    assert [str(one.amount) for one in Price.objects.order_by("day")] == ["2000.0000", "2300.0000", "2010.0000"]
    assert PriceImport.objects.get().text == text
    assert "All of these prices stand already" in words(record(client, send_file(client, text)))
    assert Price.objects.count() == 3


@rolled_back
def test_a_file_keeps_its_bytes_on_the_way():
    """Line ends of a file are kept, so that its SHA-256 is that of the file itself."""
    client = of(people.matt_accountant)
    text = "\ufeff" + file_of("2000", ago=3).replace("\n", "\r\n")
    record(client, send_file(client, text))
    assert PriceImport.objects.get().text == text


@rolled_back
def test_lines_may_be_pasted():
    client, text = of(people.matt_accountant), file_of("2000", ago=3)
    page = client.post(f"{WHERE}file/", {"lines": text, "look": "1"})
    assert page.context["carried"] == {}
    record(client, page, lines=text)
    assert PriceImport.objects.get().name == "pasted"


@rolled_back
def test_prices_of_a_file_replace_others_with_a_reason():
    client = of(people.matt_accountant)
    entered("2000", ago=3)
    page = send_file(client, file_of("2001", "2002", ago=3))
    assert "1 of these prices replace others: say what was wrong." in words(page)
    assert "replaces 2\u202f000.00 USD/ozt" in page.content.decode()
    record(client, page)
    assert Price.objects.count() == 1
    record(client, page, reason="Misread")
    assert [one.reason for one in Price.objects.order_by("id")] == ["", "Misread", ""]


@rolled_back
def test_what_was_not_shown_is_not_recorded():
    client = of(people.matt_accountant)
    page = send_file(client, file_of("2000", "2300", ago=3))
    entered("2290", ago=5)  # meanwhile: another of the two is doubtful now
    answer = record(client, page)
    assert "This is not what was shown" in words(answer)
    assert Price.objects.count() == 1
    record(client, answer)
    assert Price.objects.count() == 3


@rolled_back
@pytest.mark.parametrize(
    ("content", "said"),
    [
        (file_of("2000", "2,001", "NaN", ago=3), "line 3: 8 fields instead of 7"),
        (file_of("2000", "-1", ago=3), "line 3: The price “-1” is negative"),
        (file_of("2000 USD", ago=3), "line 2: The price “2000 USD” is not a plain number"),
        (file_of("9" * 900_000, ago=3), "line 2: a field is longer than any price"),
        (file_of("2000", ago=3).replace(",amount", ""), "the first line names the columns"),
        (file_of("2000", ago=3).replace(",", ";"), "the first line names the columns"),
        (file_of("2000", ago=3, source="Übersicht").encode("latin-1"), "no plain text in UTF-8"),
        (file_of("2000", ago=3).encode("utf-16"), "no plain text in UTF-8"),
        (b"%PDF-1.7\x00\x01", "no plain text"),
        (b"x" * 1_000_001, "longer than 1 MB"),
        (b"", "empty"),
        (b"\n", "Choose a file, or paste its lines"),
    ],
)
def test_a_file_that_is_no_table_of_prices(content, said):
    answer = send_file(of(people.matt_accountant), content, reason="A note that stays")
    assert answer.status_code == 200
    assert said in words(answer)
    assert "A note that stays" in words(answer)
    assert not PriceImport.objects.exists()


@rolled_back
def test_a_page_that_lost_its_file():
    client = of(people.matt_accountant)
    answer = client.post(f"{WHERE}file/", {"kept": "not base64!", "kept_name": "x", "seen": "x"})
    assert "The page lost its file" in words(answer)


# The list


@rolled_back
def test_the_list_is_narrowed_and_one_kind_is_drawn():
    client = of(people.adam_auditor)
    assert "No price is entered for these days." in words(client.get(WHERE))
    for ago in (200, 2, 1):
        entered(f"{2000 + ago}", ago=ago)
    entered("1850", ago=1, currency="EUR", fixing="morning")
    shown = client.get(WHERE, {"metal": "Au", "currency": "USD"})
    assert len(shown.context["table"].rows) == 3
    assert "<svg" in shown.content.decode()
    assert f"From 2\u202f200.00 USD/ozt on {day(200)}" in shown.content.decode()
    everything = client.get(WHERE, {"metal": ""})
    assert len(everything.context["table"].rows) == 4
    assert "Choose one metal, currency and fixing" in words(everything)
    latest = client.get(WHERE)
    assert [row.record.currency for row in latest.context["table"].rows] == ["EUR"]
    for asked, said in (
        ({"metal": "Fe"}, "Select a valid choice"),
        ({"first": "x"}, "Give a day"),
        ({"first": day().isoformat(), "last": day(3).isoformat()}, "ends before it begins"),
    ):
        answer = client.get(WHERE, asked)
        assert answer.status_code == 200
        assert said in words(answer)


@rolled_back
def test_a_longer_list_costs_no_more_queries():
    client, counts = of(people.adam_auditor), []
    for number in (1, 3):
        while Price.objects.count() < number:
            entered("2000", ago=Price.objects.count())
        with CaptureQueriesContext(
            connection,
        ) as asked:
            client.get(WHERE)
        counts.append(len(asked))
    assert counts[0] == counts[1]


# Where a receipt is settled


@rolled_back
def test_the_price_of_the_day_is_offered_with_its_source_where_there_is_one_alone():
    settling.terms()
    lot = builders.valued(builders.received()[0])
    where = f"/settlement/receipt/{builders.receipt_of(lot).number}/"
    client = of(people.matt_accountant)
    entered("1800", currency="EUR")
    entered("0.80", currency="EUR", metal="Ag", per="g")
    entered("2000", fixing="morning")  # in another currency than that of the terms
    form = client.get(where).context["form"]
    assert [form[f"{part}_Au"].initial for part in ("price", "unit", "source")] == [
        Decimal("1800.00"), "ozt", f"daily, {day()}, {SOURCE}",
    ]  # fmt: skip
    assert form["unit_Ag"].initial == "g"
    entered("1801", currency="EUR", fixing="afternoon")
    form = client.get(where).context["form"]
    assert form["price_Au"].initial is None, "which fixing is agreed nobody knows here"
    entered("0.80", ago=1, currency="EUR", metal="Ag", per="g")
    entered("1.80", currency="EUR", metal="Ag", per="g", reason="Misread")
    assert client.get(where).context["form"]["price_Ag"].initial is None, "a doubtful price is not offered"


# In a browser


@pytest.mark.parametrize("width", [1280, 390])
def test_every_page_at_both_widths(new_page, tmp_path, width):
    builders.refinery()
    matt = people.matt_accountant()
    for ago in range(30, 2, -1):
        entered(f"{2000 + (ago * 7919) % 61}.{ago:02d}", ago=ago)
    entered("2300", ago=2)
    page = new_page(width=width)
    session = people.signed_in(matt).cookies["sessionid"]
    page.context.add_cookies([{"name": "sessionid", "value": session.value, "url": "http://127.0.0.1"}])
    one = Price.objects.first()

    def look(name):
        found = Axe().run(page, options=RULES).response["violations"]
        assert [f"{each['id']}: {node['html'][:160]}" for each in found for node in each["nodes"]] == [], page.url
        assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth"), page.url
        page.screenshot(path=tmp_path / f"{name}-{width}.png", full_page=True)

    for name in ("", "enter/", f"price/{one.pk}/", "doubtful/", "limits/", "file/"):
        page.goto(WHERE + name)
        look(name.split("/")[0] or "list")
    file = tmp_path / "prices.csv"
    file.write_text(file_of("2010", "2500", ago=1))
    page.set_input_files("#id_file", file)
    page.click("text=Show what it would record")
    look("shown")
    page.click("text=Record these prices")
    page.wait_for_url(f"**{WHERE}")
    assert PriceImport.objects.get().prices.count() == 2
    look("list-after")
    page.goto(f"{WHERE}price/{Price.objects.get(imported__isnull=False, doubtful=True).pk}/")
    look("price-of-a-file")
    page.goto(f"{WHERE}file/")
    page.fill("#id_lines", file_of("2,010", "-1", ago=1))
    page.click("text=Show what it would record")
    look("file-refused")
    session = people.signed_in(people.mona_manager()).cookies["sessionid"]
    page.context.add_cookies([{"name": "sessionid", "value": session.value, "url": "http://127.0.0.1"}])
    page.goto(f"{WHERE}doubtful/")
    look("confirm")
    page.locator("input[name=prices]").first.check()
    page.fill("#id_note", "Read again")
    page.keyboard.press("Enter")
    page.wait_for_selector("text=1 of the doubtful prices now count")
    page.goto(f"{WHERE}limits/")
    look("limits-manager")
