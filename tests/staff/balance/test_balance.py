"""The balance on a screen, and a month that is closed for ever."""

import re
from datetime import date, timedelta

import pytest
from django.test import Client
from django.utils import timezone

from custody.actions.history import LineRefused
from custody.calc.mass import GROUP
from custody.models import Period
from custody.queries.balance import balance_document
from custody.staff.balance_views import _seal
from tests import builders, people
from tests.queries.past import dispatch, history, lot, operation, receive

pytestmark = pytest.mark.django_db

KEY = "6f9619ff-8b86-4d01-b42d-00cf4fc964ff"
JANUARY = "/balance/?first=2024-01-01&last=2024-01-31"


@pytest.fixture
def january():
    """A receipt in December, and in January a melt with a loss, a gain, a lot not valued, a dispatch."""
    history(
        receive("L-0", day="2023-12-31"),
        receive("L-1", day="2024-01-01"),
        receive("L-9", day="2024-01-01", gross="123", au=None),
        operation(
            "OP-M", "melt", day="2024-01-02", inputs=[{"lot": "L-1"}], outputs=[lot("L-2", "999", {"Au": "899.25"})],
            additions=[{"what": "flux", "gross_g": "10"}],
            losses=[
                {"cause": "slag", "gross_g": "11", "fine_g": {"Au": "1"}},
                {"cause": "measurement difference", "gross_g": "0", "fine_g": {"Au": "-0.25"}},
            ],
        ),
        dispatch("L-2", day="2024-01-31"),
    )  # fmt: skip


@pytest.fixture
def accountant():
    return people.signed_in(people.matt_accountant())


def page(client: Client, url: str = JANUARY) -> str:
    answer = client.get(url)
    assert answer.status_code == 200
    return answer.content.decode()


def lines(html: str) -> dict[str, list[str]]:
    """The ledger's lines by their name, as read aloud."""
    table = re.search(r"<caption>Ledger</caption>.*?</table>", html, re.DOTALL)[0]
    rows = re.findall(r'<tr role="row".*?</tr>', table, re.DOTALL)
    cells = [re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row.replace(GROUP, " "), re.DOTALL) for row in rows]
    return {one[0].strip(): [cell.strip() for cell in one[1:]] for one in cells}


def closing_form(html: str) -> dict:
    return dict(re.findall(r'<input type="hidden" name="(month|seen|request_key)" value="([^"]*)"', html))


def test_staff_read_it_and_customers_do_not():
    for who in people.EVERYBODY:
        status = 403 if who in people.CUSTOMERS else 200
        assert people.signed_in(who()).get("/balance/").status_code == status, who.__name__
    assert Client().get("/balance/").url.startswith("/sign-in/?next=/balance/")


def test_the_lines_sum_to_the_closing(accountant, january):
    html = page(accountant)
    assert lines(html) == {
        "Line": ["Gross, g", "Au, g"],
        "Opening": ["1 000.000", "900.000"],
        "Received": ["1 123.000", "900.000"],
        "Added: flux, acid, water, reagent": ["10.000", "0.000"],
        "Differences": ["0.000", "0.250"],
        "Lost: slag": ["−11.000", "−1.000"],
        "Dispatched": ["−999.000", "−899.250"],
        "Closing": ["1 123.000", "900.000"],
    }
    assert "Au from 2024-01-01 to 2024-01-31" in html
    assert html.count("<svg") == 1


def test_what_is_not_valued_stands_apart(accountant, january):
    html = page(accountant)
    assert "Not valued at the end, by gross" in html
    assert 'href="/lot/L-9/"' in html
    assert "Not valued at the end" not in page(accountant, "/balance/?first=2023-12-01&last=2023-12-31")


def test_this_month_so_far_is_shown_when_no_days_are_asked_for(accountant):
    today = timezone.localdate()
    assert f"{today.replace(day=1)} to {today}, both included" in page(accountant, "/balance/")


@pytest.mark.parametrize(
    ("days", "sentence"),
    [
        ("first=2024-02-01&last=2024-01-31", "The span ends before it begins."),
        ("first=31.1.2024&last=2024-01-31", "Give a day, like 2024-01-31."),
        ("first=2024-01-01", "To, included is missing."),
        ("first=0001-01-01&last=9999-12-31", "between 1900 and 2999"),
        ("first=2024-02-30&last=2024-02-30", "Give a day, like 2024-01-31."),
    ],
)
def test_days_that_make_no_span_are_refused_and_stay(accountant, days, sentence):
    html = page(accountant, f"/balance/?{days}")
    assert sentence in html
    assert "<caption>Ledger" not in html
    assert f'value="{days[6:].split("&")[0]}"' in html


def test_a_month_is_closed_by_the_accountant_once(accountant, january):
    form = closing_form(page(accountant))
    for who in people.EVERYBODY:
        if who is not people.matt_accountant:
            assert people.signed_in(who()).post("/balance/close/", form).status_code == 403, who.__name__
    assert accountant.get("/balance/close/").status_code == 405
    for words in ("2024-01 is closed. Nothing can be recorded", "2024-01 is closed, by Matt Tally."):
        answer = accountant.post("/balance/close/", form, follow=True)
        assert answer.redirect_chain[0][0] == JANUARY
        assert words in answer.content.decode()
    period = Period.objects.get(month=date(2024, 1, 1))
    assert period.closed_by == people.matt_accountant()
    html = page(accountant)
    assert "Close this month" not in html
    assert 'data-tone="good">closed' in html
    with pytest.raises(LineRefused, match="month 2024-01 is closed"):
        history(receive("L-5", day="2024-01-31"))
    history(receive("L-5", day="2024-02-01"))


def test_who_may_not_close_sees_no_way_to(january):
    html = page(people.signed_in(people.mona_manager()))
    assert "Close this month" not in html
    assert "open" in html


@pytest.mark.parametrize(
    "url", ["/balance/", "/balance/?first=2024-01-01&last=2024-01-30", "/balance/?first=2024-01-01&last=2024-02-29"]
)
def test_only_a_whole_month_that_is_over_is_offered(accountant, january, url):
    assert "Close this month" not in page(accountant, url)


def test_a_month_that_is_not_over_stays_open(accountant):
    builders.received()
    month = timezone.localdate().replace(day=1)
    last = (month + timedelta(days=31)).replace(day=1) - timedelta(days=1)
    assert "Close this month" not in page(accountant, f"/balance/?first={month}&last={last}")
    form = {"month": month, "request_key": KEY, "seen": _seal(balance_document(month, last))}
    answer = accountant.post("/balance/close/", form, follow=True).content.decode()
    assert "Only a month that is over can be closed." in answer
    assert not Period.objects.filter(closed_at__isnull=False).exists()


def test_figures_that_changed_since_are_looked_at_again(accountant, january):
    form = closing_form(page(accountant))
    history(receive("L-7", day="2024-01-30"))
    answer = accountant.post("/balance/close/", form, follow=True).content.decode()
    assert "Something was recorded in this month since you opened it." in answer
    assert not Period.objects.filter(closed_at__isnull=False).exists()
    assert closing_form(answer)["seen"] != form["seen"]


@pytest.mark.parametrize("lost", [{}, {"month": "x", "seen": "y", "request_key": KEY}, {"month": "2024-01-01"}])
def test_a_page_that_lost_its_month_closes_nothing(accountant, january, lost):
    answer = accountant.post("/balance/close/", lost, follow=True).content.decode()
    assert "The page lost which month it showed." in answer
    assert not Period.objects.filter(closed_at__isnull=False).exists()


def test_earlier_open_months_are_named_before_a_close(accountant, january):
    html = page(accountant)
    assert "Earlier months still open" in html
    assert ">2023-12<" in html.replace("\n", "")
