"""JSON Schema of the contract's records, for readers and their tools. What reads a record is calc/history.py."""

from typing import Any

from custody.calc.rules import RULES
from custody.terms import METALS, Category, CustodyModel, Form, Kind

Schema = dict[str, Any]


def _text(most: int, about: str = "") -> Schema:
    said = {"type": "string", "pattern": r"^[^\x00]*[^\s\x00\x1c-\x1f\x85][^\x00]*$", "minLength": 1, "maxLength": most}
    return said | ({"description": about} if about else {})


def _code(about: str, most: int = 40) -> Schema:
    return {"type": "string", "pattern": rf"^[^\s\x00-\x1f\x85]{{1,{most}}}$", "description": about}


def _word(words: type | list, said: str) -> Schema:
    return {"type": "string", "enum": [str(word) for word in words], "description": said}


def _mass(words: str, *, negative: bool = False) -> Schema:
    sign = "-?" if negative else ""
    return {
        "type": "string",
        "pattern": rf"^{sign}[0-9]{{1,8}}(\.[0-9]{{1,3}})?$",
        "description": words,
        "examples": ["1234.567"],
    }


def _object(required: str, about: str, /, **properties: Schema) -> Schema:
    said = {"type": "object", "additionalProperties": False, "properties": properties}
    said |= {"required": required.split()} if required else {}
    return said | ({"description": about} if about else {})


def _list(entry: str, words: str) -> Schema:
    return {"type": "array", "items": {"$ref": f"#/components/schemas/{entry}"}, "description": words}


def _fine(words: str, *, negative: bool = False) -> Schema:
    metals = {metal: _mass(f"Grams of {metal}.", negative=negative) for metal in METALS}
    return _object("", words, **metals)


_COUNTRY = {"type": "string", "pattern": "^[A-Z]{2}$", "description": "Country, ISO 3166-1, two capital letters."}
DAY = "(19|20)[0-9]{2}-(0[1-9]|1[0-2])-(0[1-9]|[12][0-9]|3[01])"
TIME = "([01][0-9]|2[0-3]):[0-5][0-9]:[0-5][0-9]"
OFFSET = "(Z|[+-](0[0-9]|1[0-3]):[0-5][0-9]|[+-]14:00)"
#: A time with its offset. Whether the month has that day, its reader says.
MOMENT = f"^{DAY}T{TIME}{OFFSET}$"
_ORIGIN = _object(
    "category country",
    "Declared origin of a parcel.",
    category=_word(Category, "How the metal was won."),
    country=_COUNTRY,
    mine=_text(200, "Mine, collector or other source."),
)
_PARTS: dict[str, Schema] = {
    "Fine": _fine("Fine metal by its symbol, grams; a metal that is left out is nought."),
    "FineLost": _fine("Fine metal lost, grams; negative for metal found again.", negative=True),
    "Input": _object(
        "lot",
        "A lot that goes in: whole, or so much of it. Only a draw from a run names its metals.",
        lot=_code("Number of the lot."),
        gross_g=_mass("Grams taken; the whole lot without it."),
        fine_g={"$ref": "#/components/schemas/Fine"},
    ),
    "Addition": _object(
        "what gross_g",
        "What enters from outside the book: mass, never metal of account.",
        what=_text(30, "flux, acid, water, reagent, or unweighed water or gas, as the kind allows."),
        gross_g=_mass("Grams added."),
    ),
    "Output": _object(
        "lot form gross_g",
        "A lot that comes out.",
        lot=_code("Its number, new to the book."),
        form=_word(Form, "What it is."),
        gross_g=_mass("Grams on the scale."),
        fine_g={"$ref": "#/components/schemas/Fine"},
        serial=_code("Serial of a bar."),
        mark=_code("Refiner's mark on a bar; the house's own without it.", 20),
        replaces=_code("Lot of the cancelled bar whose serial is stamped again."),
        returned_from=_code("Lot of the bar that comes back over the counter as this parcel."),
        vessel=_code("Place of a run's content.", 30),
        custody_model=_word(CustodyModel, "Chain-of-custody model (ISO 22095)."),
        origin=_ORIGIN,
    ),
    "Loss": _object(
        "cause gross_g",
        "A declared loss. A gain over book is negative, by “measurement difference”.",
        cause=_text(30, "As the kind allows: see the description of the address."),
        gross_g=_mass("Grams lost.", negative=True),
        fine_g={"$ref": "#/components/schemas/FineLost"},
        words=_text(300, "What happened; needed for the cause “other”."),
    ),
}


def _operation(title: str, required: str, kind: Schema, **own: Schema) -> Schema:
    return {"title": title} | _object(
        f"record number kind at {required}".strip(),
        "",
        record={"type": "string", "const": "operation"},
        number=_code("Number of the operation, new to the book."),
        kind=kind,
        at={
            "type": "string",
            "pattern": MOMENT,
            "description": "When it happened, with its offset from UTC.",
            "examples": ["2024-01-02T09:00:00+00:00"],
        },
        party=_code("Code of the party that delivers, or to which metal is sent."),
        owner=_code("Code of the party that owns what is received; the house without it."),
        basis=_word(["toll", "purchase"], "On what terms metal is received."),
        inputs=_list("Input", "Lots that go in."),
        additions=_list("Addition", "What is added."),
        outputs=_list("Output", "Lots that come out."),
        losses=_list("Loss", "What is lost, by cause."),
        reason=_text(500, "Why; needed where a second person signs, and for a reversal."),
        reverses=_code("Number of the operation that is undone."),
        step=_word(Kind, "The wet step that a first charge opens."),
        about={"type": "string", "pattern": f"^{DAY}$", "description": "The day that it is about."},
        **own,
    )  # fmt: skip


def schemas() -> dict[str, Schema]:
    """The parts of the OpenAPI document that describe an operation record."""
    steps = _word([kind for kind in Kind if kind is not Kind.VALUE], "What was done.")
    value = {"type": "string", "const": str(Kind.VALUE)}
    fine = {"$ref": "#/components/schemas/Fine"}
    return _PARTS | {
        "Step": _operation("Step", "", steps),
        "Valuation": _operation("Valuation", "lot fine_g", value, lot=_code("The lot that is valued."), fine_g=fine),
        "OperationRecord": {
            "oneOf": [{"$ref": "#/components/schemas/Step"}, {"$ref": "#/components/schemas/Valuation"}]
        },
    }


def kinds_in_words() -> str:
    """Every kind with the additions and the causes of loss that it takes, as a list in Markdown."""
    rows = []
    for kind, rule in RULES.items():
        added = ", ".join(str(what) for what in rule.additions)
        causes = ", ".join(str(cause) for cause in rule.causes)
        said = "; ".join(filter(None, (added and f"adds {added}", causes and f"loses by {causes}")))
        rows.append(f"- `{kind}`: {said or 'adds and loses nothing'}")
    return "\n".join(rows)
