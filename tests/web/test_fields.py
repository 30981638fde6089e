"""Fields of entry forms: understood or refused with a sentence, what was typed kept."""

import uuid
from datetime import UTC, datetime

import pytest
from django import forms
from django.template.loader import render_to_string

from custody.calc.refusals import Refused
from custody.web.forms import BaseForm, GramsField, KitForm, MomentField, PerMilleField, ScanField


class WeighForm(KitForm):
    lot = ScanField(label="Lot")
    gross = GramsField(metal="gross")
    gold = GramsField(metal="Au", required=False)
    lost = GramsField(label="Lost", required=False, signed=True)
    fineness = PerMilleField(required=False)


def weigh(**typed):
    return WeighForm({"lot": "L-1", "gross": "10"} | typed)


@pytest.mark.parametrize(
    ("typed", "mg"),
    [
        ("1234.567", 1_234_567),
        (" 0.001 ", 1),
        ("12.5 g", 12_500),
        ("1.25 kg", 1_250_000),
        ("1 ozt", 31_103),
        ("1\u202f234.567", 1_234_567),
    ],
)
def test_grams_are_whole_milligrams(typed, mg):
    form = weigh(gross=typed)
    assert form.is_valid(), form.errors
    assert form.cleaned_data["gross"] == mg
    assert type(form.cleaned_data["gross"]) is int


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ("1,5", "has a comma"),
        ("1 lb", "has a unit that is not read here"),
        ("1.2345", "decimals"),
        ("-1", "is negative"),
        ("0", "is zero"),
        ("NaN", "is not a number"),
        ("1e400", "exponent"),
        ("9" * 1_000_000, "1000000 characters long"),
        ("٣", "not plain digits"),
        ("1 234", "is not a plain number"),
        ("200000000", "more than 100 t"),
    ],
)
def test_grams_refused(typed, says):
    form = weigh(gross=typed)
    assert not form.is_valid()
    (sentence,) = form.errors["gross"]
    assert says in sentence
    assert "gross weight" in sentence


def test_what_was_typed_is_kept_as_typed():
    page = str(weigh(gross="1,5 <b>", lot="<L-1>"))
    assert 'value="1,5 &lt;b&gt;"' in page
    assert 'value="&lt;L-1&gt;"' in page


def test_blank_is_unknown_and_zero_is_a_metal_that_is_absent():
    blank, zero = weigh(gold="  "), weigh(gold="0")
    assert blank.is_valid()
    assert zero.is_valid()
    assert (blank.cleaned_data["gold"], zero.cleaned_data["gold"]) == (None, 0)


@pytest.mark.parametrize(("typed", "mg"), [("-0.123", -123), ("\u22120.123", -123), ("0.5", 500)])
def test_a_signed_field_gives_back(typed, mg):
    form = weigh(lost=typed)
    assert form.is_valid(), form.errors
    assert form.cleaned_data["lost"] == mg


@pytest.mark.parametrize("typed", ["-", "--1", "-1,5", "- "])
def test_a_sign_alone_is_no_figure(typed):
    assert "lost" in weigh(lost=typed).errors


def test_fineness():
    form = weigh(fineness="999.9")
    assert form.is_valid(), form.errors
    assert form.cleaned_data["fineness"] == 999_900
    assert "more than 1000 per mille" in weigh(fineness="1000.1").errors["fineness"][0]


def test_figures_of_the_book_can_be_typed_back():
    page = str(WeighForm(initial={"gross": 1_234_567, "fineness": 916_667}))
    assert 'value="1234.567"' in page
    assert 'value="916.667"' in page


def test_an_unchanged_figure_has_not_changed():
    unchanged = WeighForm({"gross": "1234.567"}, initial={"gross": 1_234_567})
    assert "gross" not in unchanged.changed_data
    assert "gross" in WeighForm({"gross": "1234.568"}, initial={"gross": 1_234_567}).changed_data


def test_a_missing_value_is_named():
    assert WeighForm({}).errors["gross"] == ["Gross, g is missing."]
    assert WeighForm({}).errors["lot"] == ["Lot is missing."]


def test_a_sentence_of_its_own_is_kept():
    class Own(KitForm):
        why = forms.CharField(error_messages={"required": "Say why."})

    assert Own({}).errors["why"] == ["Say why."]


def test_a_field_tells_scripts_and_keyboards_what_it_is():
    page = str(WeighForm())
    gross = next(line for line in page.split("<input") if 'name="gross"' in line)
    for told in ('data-metal="gross"', 'inputmode="decimal"', 'class="figure"', "data-scan", 'autocomplete="off"'):
        assert told in gross
    assert "data-signed" not in gross
    assert "data-signed" in next(line for line in page.split("<input") if 'name="lost"' in line)


def test_hint_and_error_are_tied_to_the_control():
    class Hinted(KitForm):
        gross = GramsField(metal="gross", help_text="As it stands on the scale.")

    page = str(Hinted({"gross": "x"}))
    assert 'aria-describedby="id_gross_helptext id_gross_error"' in page
    assert 'id="id_gross_helptext"' in page
    assert 'id="id_gross_error"' in page
    assert 'aria-invalid="true"' in page
    assert '<label for="id_gross">' in page


def test_moments_are_local_inside_a_form_and_aware_outside(settings):
    class When(KitForm):
        at = MomentField()

    form = When({"at": "2024-01-31T14:05"})
    assert form.is_valid(), form.errors
    assert form.cleaned_data["at"] == datetime(2024, 1, 31, 14, 5, tzinfo=UTC)
    assert 'value="2024-01-31T14:05"' in str(When(initial={"at": datetime(2024, 1, 31, 14, 5, tzinfo=UTC)}))
    assert When({"at": "31/01/2024 25:00"}).errors["at"] == ["Give a date and a time, like 2024-01-31 14:05."]


class Entry(BaseForm):
    gross = GramsField(metal="gross")


def test_two_pages_have_two_keys():
    assert Entry()["request_key"].value() != Entry()["request_key"].value()


def test_an_entry_sent_back_keeps_its_key():
    key = str(uuid.uuid4())
    form = Entry({"request_key": key, "gross": "?"})
    assert not form.is_valid()
    assert f'value="{key}"' in str(form)
    assert Entry({"request_key": key, "gross": "1"}).is_valid()


@pytest.mark.parametrize("key", ["", "17", "x" * 36])
def test_an_entry_without_its_key_is_refused(key):
    form = Entry({"request_key": key, "gross": "1"})
    assert form.errors["request_key"] == ["The page lost its key. Open it again and enter it anew."]
    assert "The page lost its key" in render_to_string("ui/errors.html", {"form": form})


def test_a_refusal_of_the_book_stands_where_it_belongs():
    form = Entry({"request_key": str(uuid.uuid4()), "gross": "1"})
    assert form.is_valid()
    form.refuse(Refused("More than the lot holds.", field="gross"))
    form.refuse(Refused("The period is closed.", field="at"))
    form.refuse(ValueError("Something else."))
    assert form.errors["gross"] == ["More than the lot holds."]
    assert form.non_field_errors() == ["The period is closed.", "Something else."]
