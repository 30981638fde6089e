"""The history file, format ``custody-history`` version 1: JSON Lines to operation records in milligrams.

Strict on purpose: masses are strings of plain grams, every key is known, every time has an offset. A record that is
read here has the right shape; whether the book takes it is the book's to say.
"""

import json
import re
from datetime import date, datetime, timedelta
from typing import Any

from custody.calc.mass import parse_strict_grams
from custody.calc.refusals import Refused
from custody.terms import METALS, Category, CustodyModel, Form, Kind

FORMAT = "custody-history"
VERSION = 1
LONGEST_LINE = 1_000_000
_CODE = re.compile(r"[^\s\x00-\x1f\ud800-\udfff]+")
_HALF_A_CHARACTER = re.compile(r"[\ud800-\udfff]")
_LONGEST_CODE = 40
_LONGEST_PLACE = _LONGEST_PARTY = 30
_LONGEST_MARK = 20
_LONGEST_INTEGER = 20
_COUNTRY = re.compile(r"[A-Z]{2}")
#: The farthest a place's time is from UTC; PostgreSQL takes no offset much farther.
_FARTHEST = timedelta(hours=14)

_HEADER = {"record", "format", "version"}
_PARTY = {"record", "code", "name", "country"}
_OPERATION = {
    "record", "number", "kind", "at", "party", "inputs", "additions", "outputs", "losses", "owner", "basis",
    "lot", "fine_g", "reverses", "reason", "step", "about",
}  # fmt: skip
_INPUT = {"lot", "gross_g", "fine_g"}
_ADDITION = {"what", "gross_g"}
_OUTPUT = {
    "lot", "form", "gross_g", "fine_g", "serial", "origin", "vessel", "replaces", "returned_from", "custody_model",
    "mark",
}  # fmt: skip
_LOSS = {"cause", "gross_g", "fine_g", "words"}
_ORIGIN = {"category", "country", "mine"}


def read_json(text: str) -> dict[str, Any]:
    """A JSON object, read strictly: no key twice, no fraction, no NaN. Raises ``Refused`` about the field ``line``."""
    if len(text) > LONGEST_LINE:
        raise Refused("This record is longer than a million characters.", field="line")
    try:
        record = json.loads(
            text,
            object_pairs_hook=_no_twins,
            parse_constant=_no_constant,
            parse_float=_no_number,
            parse_int=_short_integer,
        )
    except RecursionError:
        raise Refused("This is nested too deeply to be a record.", field="line") from None
    except json.JSONDecodeError as error:
        raise Refused(f"This is not JSON: {error.msg} at character {error.pos + 1}.", field="line") from None
    if not isinstance(record, dict):
        raise Refused("A record is a JSON object.", field="line")
    return record


def read_line(text: str) -> dict[str, Any]:
    """One line as a record; masses of an operation as milligrams (``gross_mg``, ``fine_mg``), ``at`` aware.

    Raises ``Refused`` with a sentence and the field.
    """
    record = read_json(text)
    readers = {"header": _read_header, "party": _read_party, "operation": read_operation}
    kind = record.get("record")
    if not isinstance(kind, str) or kind not in readers:
        raise Refused("A record is a header, a party or an operation; “record” says which.", field="record")
    return readers[kind](record)


def read_operation(record: dict[str, Any]) -> dict[str, Any]:
    """An operation record of the contract, as the request that the book takes. Raises ``Refused``."""
    _known(record, _OPERATION, "operation")
    request = {
        "record": "operation",
        "number": _code(record, "number"),
        "kind": _word(record, "kind", [str(kind) for kind in Kind]),
        "at": read_moment(record, "at"),
    }
    for key in ("party", "owner", "lot", "reverses"):
        if key in record:
            request[key] = _code(record, key)
    if "reason" in record:
        request["reason"] = _text(record, "reason", 500)
    if "step" in record:
        request["step"] = _word(record, "step", [str(kind) for kind in Kind])
    if "about" in record:
        request["about"] = _day(record, "about")
    if "basis" in record:
        request["basis"] = _word(record, "basis", ["toll", "purchase"])
    if "fine_g" in record:
        request["fine_mg"] = _fine(record, "fine_g")
    if request["kind"] == Kind.VALUE and not {"lot", "fine_mg"} <= request.keys():
        raise Refused("A valuation names the lot and its fine_g.", field="lot")
    if request["kind"] != Kind.VALUE and {"lot", "fine_mg"} & request.keys():
        raise Refused("Only a valuation has lot and fine_g of its own.", field="lot")
    readers = {"inputs": _input, "additions": _addition, "outputs": _output, "losses": _loss}
    for key, reader in readers.items():
        if key in record:
            request[key] = [reader(entry, f"{key}[{i}]") for i, entry in enumerate(_list(record, key))]
    made = set()
    for i, output in enumerate(request.get("outputs", ())):
        if output["lot"] in made:
            raise Refused(f"outputs[{i}].lot {output['lot']} stands twice in this record.", field=f"outputs[{i}].lot")
        made.add(output["lot"])
    return request


def read_moment(record: dict[str, Any], key: str) -> datetime:
    """A time with its offset from UTC, by its key. Raises ``Refused``, also for an offset that no place has."""
    value = record.get(key)
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        moment = None
    offset = moment.utcoffset() if moment else None
    if offset is None or abs(offset) > _FARTHEST or not 1900 <= moment.year < 9999:
        raise Refused(f"{key} is a time with its offset, like 2024-01-02T09:00:00+00:00.", field=key)
    return moment


def _read_header(record: dict[str, Any]) -> dict[str, Any]:
    _known(record, _HEADER, "header")
    if (record.get("format"), record.get("version")) != (FORMAT, VERSION):
        raise Refused(f"The header must say format {FORMAT}, version {VERSION}.", field="format")
    return record


def _read_party(record: dict[str, Any]) -> dict[str, Any]:
    _known(record, _PARTY, "party")
    return {
        "record": "party",
        "code": _code(record, "code", longest=_LONGEST_PARTY),
        "name": _text(record, "name", 200),
        "country": _country(record, "country"),
    }


def _input(entry: Any, where: str) -> dict[str, Any]:
    _known(entry, _INPUT, where)
    taken = {"lot": _code(entry, "lot", where)}
    if "gross_g" in entry:
        taken["gross_mg"] = _grams(entry, "gross_g", where)
    if "fine_g" in entry:
        taken["fine_mg"] = _fine(entry, f"{where}.fine_g")
    return taken


def _addition(entry: Any, where: str) -> dict[str, Any]:
    _known(entry, _ADDITION, where)
    return {"what": _text(entry, "what", 30, where), "gross_mg": _grams(entry, "gross_g", where)}


def _output(entry: Any, where: str) -> dict[str, Any]:
    _known(entry, _OUTPUT, where)
    made = {
        "lot": _code(entry, "lot", where),
        "form": _word(entry, "form", [str(form) for form in Form], where),
        "gross_mg": _grams(entry, "gross_g", where),
    }
    if "fine_g" in entry:
        made["fine_mg"] = _fine(entry, f"{where}.fine_g")
    for key in ("serial", "replaces", "returned_from"):
        if key in entry:
            made[key] = _code(entry, key, where)
    if "vessel" in entry:
        made["vessel"] = _code(entry, "vessel", where, longest=_LONGEST_PLACE)
    if "mark" in entry:
        made["mark"] = _code(entry, "mark", where, longest=_LONGEST_MARK)
    if "custody_model" in entry:
        made["custody_model"] = _word(entry, "custody_model", [str(model) for model in CustodyModel], where)
    if "origin" in entry:
        made["origin"] = _origin(entry["origin"], f"{where}.origin")
    return made


def _origin(entry: Any, where: str) -> dict[str, str]:
    _known(entry, _ORIGIN, where)
    declared = {
        "category": _word(entry, "category", [str(category) for category in Category], where),
        "country": _country(entry, "country", where),
    }
    if "mine" in entry:
        declared["mine"] = _text(entry, "mine", 200, where)
    return declared


def _loss(entry: Any, where: str) -> dict[str, Any]:
    _known(entry, _LOSS, where)
    lost = {
        "cause": _text(entry, "cause", 30, where),
        "gross_mg": _grams(entry, "gross_g", where, negative=True),
        "fine_mg": _fine(entry, f"{where}.fine_g", negative=True) if "fine_g" in entry else {},
    }
    if "words" in entry:
        lost["words"] = _text(entry, "words", 300, where)
    return lost


def _known(entry: Any, keys: set[str], where: str) -> None:
    if not isinstance(entry, dict):
        raise Refused(f"{where} is a JSON object.", field=where)
    unknown = sorted(set(entry) - keys)
    if unknown:
        raise Refused(f"{where} has a key that is not known: {unknown[0][:60]!r}.", field=where)


def _list(record: dict[str, Any], key: str) -> list[Any]:
    if not isinstance(record[key], list):
        raise Refused(f"{key} is a list.", field=key)
    return record[key]


def _text(entry: dict[str, Any], key: str, longest: int, where: str = "") -> str:
    value = entry.get(key)
    field = f"{where}.{key}".lstrip(".")
    if not isinstance(value, str) or not value.strip() or len(value) > longest or "\x00" in value:
        raise Refused(f"{field} is text of 1 to {longest} characters.", field=field)
    if _HALF_A_CHARACTER.search(value):
        raise Refused(f"{field} has half a character in it (a lone surrogate).", field=field)
    return value


def _code(entry: dict[str, Any], key: str, where: str = "", *, longest: int = _LONGEST_CODE) -> str:
    value = entry.get(key)
    field = f"{where}.{key}".lstrip(".")
    if not isinstance(value, str) or len(value) > longest or not _CODE.fullmatch(value):
        raise Refused(f"{field} is a number or code of 1 to {longest} characters without spaces.", field=field)
    return value


def _country(entry: dict[str, Any], key: str, where: str = "") -> str:
    value = entry.get(key)
    if not isinstance(value, str) or not _COUNTRY.fullmatch(value):
        field = f"{where}.{key}".lstrip(".")
        raise Refused(f"{field} is a country by its two capital letters (ISO 3166-1).", field=field)
    return value


def _word(entry: dict[str, Any], key: str, words: list[str], where: str = "") -> str:
    value = entry.get(key)
    field = f"{where}.{key}".lstrip(".")
    if not isinstance(value, str) or value not in words:
        raise Refused(f"{field} {str(value)[:40]!r} is none of: {', '.join(words)}.", field=field)
    return value


def _day(record: dict[str, Any], key: str) -> str:
    try:
        return date.fromisoformat(record[key]).isoformat()
    except (TypeError, ValueError):
        raise Refused(f"{key} is a day, like 2024-01-02.", field=key) from None


def _grams(entry: dict[str, Any], key: str, where: str, *, negative: bool = False) -> int:
    field = f"{where}.{key}"
    if not isinstance(entry.get(key), str):
        raise Refused(f"{field} is a string of grams, like “1234.567”.", field=field)
    if negative and entry[key].removeprefix("-").strip("0.") == "":
        return parse_strict_grams(entry[key].removeprefix("-"), what=field)
    return parse_strict_grams(entry[key], what=field, allow_negative=negative)


def _fine(entry: dict[str, Any], where: str, *, negative: bool = False) -> dict[str, int]:
    metals = entry.get("fine_g")
    if not isinstance(metals, dict):
        raise Refused(f"{where} is an object of metals and grams.", field=where)
    unknown = sorted(set(metals) - set(METALS))
    if unknown:
        raise Refused(f"{where} has no metal of account {unknown[0][:20]!r}: {', '.join(METALS)}.", field=where)
    return {metal: _grams(metals, metal, where, negative=negative) for metal in metals}


def _no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    keys = [key for key, _ in pairs]
    if len(set(keys)) != len(keys):
        twin = next(key for key in keys if keys.count(key) > 1)
        raise Refused(f"The key {twin[:60]!r} stands twice in one object.", field="line")
    return dict(pairs)


def _no_constant(text: str) -> None:
    raise Refused(f"{text} is no JSON value.", field="line")


def _no_number(text: str) -> None:
    raise Refused(f"The number {text[:40]} has no place here: masses are strings of grams.", field="line")


def _short_integer(text: str) -> int:
    if len(text) > _LONGEST_INTEGER:
        _no_number(text)
    return int(text)
