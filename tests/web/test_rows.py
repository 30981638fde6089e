"""Rows of an entry."""

import pytest
from django import forms
from django.template.loader import render_to_string

from custody.web.forms import BaseRows, GramsField, RowForm, ScanField, rows_of


class Line(RowForm):
    lot = ScanField(label="Lot")
    form = forms.ChoiceField(choices=[("dore", "doré"), ("scrap", "scrap")], initial="dore")
    gross = GramsField(metal="gross")


class Parcels(BaseRows):
    title, row_word, add_label, side = "Parcels", "parcel", "Add a parcel", "in"


Rows = rows_of(Line, Parcels, extra=3, most=5)


def sent(*rows, count=None, **more):
    data = {"p-TOTAL_FORMS": str(len(rows) if count is None else count), "p-INITIAL_FORMS": "0"} | more
    for number, row in enumerate(rows):
        data |= {f"p-{number}-{name}": value for name, value in row.items()}
    return Rows(data, prefix="p")


def line(lot="L-1", gross="10", form="dore"):
    return {"lot": lot, "gross": gross, "form": form}


BLANK = line("", "")


def test_blank_rows_count_for_nothing():
    rows = sent(BLANK, line("L-1"), BLANK, line("L-2", form="scrap"), BLANK)
    assert rows.is_valid(), rows.errors
    assert [row["lot"] for row in rows.rows] == ["L-1", "L-2"]
    assert rows.rows[0]["gross"] == 10_000


@pytest.mark.parametrize("rows", [[BLANK, BLANK], []])
def test_one_at_least(rows):
    rows = sent(*rows)
    assert not rows.is_valid()
    assert rows.non_form_errors() == ["Fill in at least one parcel."]


def test_none_where_none_is_needed():
    class Optional(Parcels):
        required = False

    rows = rows_of(Line, Optional)({"p-TOTAL_FORMS": "0", "p-INITIAL_FORMS": "0"}, prefix="p")
    assert rows.is_valid()
    assert rows.rows == []


def test_a_half_filled_row_is_refused():
    rows = sent(line("L-1"), line("", "5"), line("L-3", ""))
    assert not rows.is_valid()
    assert rows.errors == [{}, {"lot": ["Lot is missing."]}, {"gross": ["Gross, g is missing."]}]


@pytest.mark.parametrize("second", ["L-1", "l-1", " L-1 "])
def test_the_same_lot_twice(second):
    rows = sent(line("L-1"), BLANK, line(second), line("L-2"))
    assert not rows.is_valid()
    (sentence,) = rows.errors[2]["lot"]
    assert sentence == f"{second.strip()} stands in parcel 1 already. Name each lot once."
    assert rows.errors[0] == rows.errors[3] == {}


def test_rows_that_never_reached_the_page_are_no_error():
    rows = sent(line("L-1"), count=3)
    assert rows.is_valid(), rows.errors
    assert len(rows.rows) == 1


def test_rows_filled_in_beforehand_count_when_sent_back_untouched():
    rows = Rows({"p-TOTAL_FORMS": "2", "p-INITIAL_FORMS": "1", "p-0-lot": "L-1", "p-0-gross": "10", "p-0-form": "dore"},
                prefix="p", initial=[{"lot": "L-1", "gross": 10_000}])  # fmt: skip
    assert rows.is_valid(), rows.errors
    assert [row["lot"] for row in rows.rows] == ["L-1"]


def test_a_row_filled_in_beforehand_and_taken_out_again_leaves_no_trace():
    rows = Rows({"p-TOTAL_FORMS": "1", "p-INITIAL_FORMS": "1", "p-0-lot": "", "p-0-gross": "", "p-0-form": "dore"},
                prefix="p", initial=[{"lot": "L-1", "gross": 10_000}])  # fmt: skip
    assert not rows.is_valid()
    assert rows.non_form_errors() == ["Fill in at least one parcel."]


def test_too_many_rows():
    rows = sent(*(line(f"L-{number}") for number in range(6)))
    assert rows.non_form_errors() == ["No more than 5 lines fit in one entry. Record the rest in another."]
    assert not sent(BLANK, count=10**9).is_valid()
    assert sent(BLANK, count=10**9).total_form_count() == 5


def test_lost_rows_are_told():
    rows = Rows({}, prefix="p")
    assert not rows.is_valid()
    assert rows.non_form_errors() == ["The page lost its rows. Open it again and enter it anew."]


def test_drawn_once_with_script_and_with_spares_without():
    page = str(Rows(prefix="p"))
    with_script, without = page.split("<noscript>")
    without, template = without.split("</noscript>")
    assert with_script.count('data-balance="in"') == 1
    assert without.count('data-balance="in"') == 2
    assert 'name="p-2-gross"' in without
    assert template.count('name="p-__prefix__-gross"') == 1


def test_every_row_up_to_the_last_that_says_something_is_drawn():
    page = str(sent(line("L-1"), BLANK, line("L-3", "x"), BLANK))
    drawn = page.split("<noscript>")[0]
    assert drawn.count("data-row>") + drawn.count("data-row ") == 3
    assert 'value="x"' in drawn


def test_rows_filled_in_beforehand_are_drawn():
    rows = Rows(prefix="p", initial=[{"lot": "L-1"}, {"lot": "L-2"}])
    assert [form.initial.get("lot") for form in rows.shown] == ["L-1", "L-2"]
    assert len(rows.spare) == 3


def test_errors_are_listed_with_a_way_to_each():
    rows = sent(line("L-1", "1,5"), line("L-1"))
    assert not rows.is_valid()
    page = render_to_string("ui/errors.html", {"row_sets": [rows]})
    assert "2 things to mend" in page
    assert '<a href="#id_p-0-gross">Parcel 1: The gross weight' in page
    assert '<a href="#id_p-1-lot">Parcel 2: L-1 stands in' in page


def test_an_error_of_the_whole_set_leads_to_its_first_field():
    page = render_to_string("ui/errors.html", {"row_sets": [sent(BLANK)], "refusal": "The period is closed."})
    assert '<a href="#id_p-0-lot">Parcels: Fill in at least one parcel.</a>' in page
    assert "<li>The period is closed.</li>" in page
