"""Tags that the partials in templates/ui/ need."""

from dataclasses import dataclass

from django import template
from django.forms import BaseForm, BaseFormSet, BoundField

from custody.calc.countries import COUNTRIES

register = template.Library()


@dataclass(frozen=True)
class Wrong:
    """One thing to mend: where it stands in words, the sentence, the id of the control to go to."""

    where: str
    sentence: str
    target: str = ""


@register.simple_tag
def countries() -> list[tuple[str, str]]:
    """Every country: its two letters and its name."""
    return list(COUNTRIES.items())


@register.simple_tag
def error_list(form: BaseForm | None, row_sets: list[BaseFormSet] | None = None, refusal: str = "") -> list[Wrong]:
    """Everything wrong with an entry, in the order of the page."""
    found = [Wrong("", refusal)] if refusal else []
    if form:
        found += _of_form(form)
    for rows in row_sets or ():
        first = rows.forms[0] if rows.forms else None
        found += [Wrong(f"{rows.title}: ", error, _first_control(first)) for error in rows.non_form_errors()]
        for number, row in enumerate(rows.forms, start=1):
            found += _of_form(row, f"{rows.row_word.capitalize()} {number}, ")
    return found


def _of_form(form: BaseForm, row: str = "") -> list[Wrong]:
    of_row = (row.removesuffix(", ") + ": ", _first_control(form)) if row else ("", "")
    found = [Wrong(of_row[0], error, of_row[1]) for error in form.non_field_errors()]
    for bound in form:
        target = of_row[1] if bound.is_hidden else bound.id_for_label or bound.auto_id
        found += [
            Wrong(of_row[0] if _names(bound, error) else f"{row}{bound.label}: ", error, target)
            for error in bound.errors
        ]
    return found


def _names(bound: BoundField, sentence: str) -> bool:
    """Whether the sentence says by itself which field it is about."""
    words = [bound.label.casefold(), getattr(bound.field, "what", "").casefold()]
    return bound.is_hidden or any(word and word in sentence.casefold() for word in words)


def _first_control(form: BaseForm | None) -> str:
    visible = form.visible_fields() if form else []
    return visible[0].id_for_label if visible else ""
