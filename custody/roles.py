"""Who may do what: one permission per verb, pure predicates.

A role is data (a grant to a person, see models.access); what a role may do is this table.
"""

from enum import StrEnum

from custody.terms import Kind, Role


class Verb(StrEnum):
    """One verb, one permission."""

    RECEIVE = "receive"
    WEIGH = "weigh"
    KEEP_SCALES = "keep the scales"
    MELT = "melt"
    SAMPLE = "sample"
    DETERMINE = "determine"
    ACCEPT = "accept an assay"
    REFINE = "refine"
    ORDER_ROUTE = "order a route"
    SET_PLANT = "change the plant's settings"
    CAST = "cast"
    HAND_OVER = "hand over"
    DISPATCH = "dispatch"
    OPEN_VAULT = "open the vault"
    COUNT = "count"
    KEEP_BARS = "keep bar types and serials"
    SETTLE = "settle"
    APPROVE = "approve a settlement"
    KEEP_PRICES = "enter prices"
    CONFIRM_PRICES = "confirm doubtful prices"
    SET_PRICE_LIMIT = "set the limit of prices"
    CLEAR = "hold and release"
    COUNTERSIGN = "countersign"
    REVERSE = "reverse"
    CORRECT = "correct"
    CLOSE_PERIOD = "close a period"
    MANAGE_PEOPLE = "manage people"
    KEEP_PARTIES = "keep parties"
    TRACE = "trace"
    READ_BOOK = "read the book"
    READ_OWN = "read own papers"
    HAND_IN_OWN = "hand in own assay"


MAY: dict[Role, frozenset[Verb]] = {
    Role.FRONT_DESK: frozenset({Verb.RECEIVE, Verb.WEIGH, Verb.KEEP_PARTIES, Verb.HAND_OVER, Verb.READ_BOOK}),
    Role.SAMPLER: frozenset({Verb.WEIGH, Verb.MELT, Verb.SAMPLE, Verb.HAND_OVER, Verb.READ_BOOK}),
    Role.ASSAYER: frozenset({Verb.WEIGH, Verb.DETERMINE, Verb.ACCEPT, Verb.SAMPLE, Verb.HAND_OVER, Verb.READ_BOOK}),
    Role.OPERATOR: frozenset(
        {
            Verb.WEIGH,
            Verb.MELT,
            Verb.REFINE,
            Verb.ORDER_ROUTE,
            Verb.CAST,
            Verb.HAND_OVER,
            Verb.READ_BOOK,
            Verb.REVERSE,
        }
    ),
    Role.VAULT: frozenset({Verb.WEIGH, Verb.HAND_OVER, Verb.DISPATCH, Verb.OPEN_VAULT, Verb.COUNT, Verb.READ_BOOK}),
    Role.ACCOUNTANT: frozenset(
        {
            Verb.SETTLE,
            Verb.KEEP_PRICES,
            Verb.CONFIRM_PRICES,
            Verb.CORRECT,
            Verb.CLOSE_PERIOD,
            Verb.COUNT,
            Verb.READ_BOOK,
            Verb.TRACE,
            Verb.REVERSE,
        }
    ),
    Role.COMPLIANCE: frozenset({Verb.CLEAR, Verb.TRACE, Verb.READ_BOOK, Verb.KEEP_PARTIES}),
    Role.MANAGER: frozenset(
        {
            Verb.COUNTERSIGN,
            Verb.ORDER_ROUTE,
            Verb.SET_PLANT,
            Verb.KEEP_BARS,
            Verb.OPEN_VAULT,
            Verb.COUNT,
            Verb.APPROVE,
            Verb.CONFIRM_PRICES,
            Verb.SET_PRICE_LIMIT,
            Verb.ACCEPT,
            Verb.REVERSE,
            Verb.CORRECT,
            Verb.MANAGE_PEOPLE,
            Verb.KEEP_PARTIES,
            Verb.KEEP_SCALES,
            Verb.READ_BOOK,
            Verb.TRACE,
        }
    ),
    Role.AUDITOR: frozenset({Verb.READ_BOOK, Verb.TRACE}),
    Role.CUSTOMER: frozenset({Verb.READ_OWN, Verb.HAND_IN_OWN}),
}

_MELTING = {Kind.MELT, Kind.GRANULATE, Kind.INQUART}
_CASTING = {
    Kind.CAST, Kind.CAST_ANODES, Kind.CAST_STRIP, Kind.ROLL, Kind.PUNCH, Kind.ANNEAL, Kind.ADJUST, Kind.STAMP,
}  # fmt: skip


def may(roles: frozenset[Role], verb: Verb) -> bool:
    """Whether a person with these roles may do this verb."""
    return any(verb in MAY[role] for role in roles)


def is_staff(roles: frozenset[Role]) -> bool:
    """Whether these roles open the staff's door; a customer's alone never does."""
    return may(roles, Verb.READ_BOOK)


def sees_identities(roles: frozenset[Role]) -> bool:
    """Whether these roles may see identity papers and numbers: who receives, clears or hands out metal."""
    verbs = (Verb.RECEIVE, Verb.CLEAR, Verb.DISPATCH)
    return any(may(roles, verb) for verb in verbs) or bool({Role.AUDITOR, Role.MANAGER} & roles)


def verb_of(kind: Kind) -> Verb:
    """The permission that recording a kind of step asks for."""
    if kind in _MELTING:
        return Verb.MELT
    if kind in _CASTING:
        return Verb.CAST
    return {
        Kind.RECEIVE: Verb.RECEIVE,
        Kind.VALUE: Verb.ACCEPT,
        Kind.SAMPLE: Verb.SAMPLE,
        Kind.DIVIDE: Verb.WEIGH,
        Kind.DIFFERENCE: Verb.CORRECT,
        Kind.DISPATCH: Verb.DISPATCH,
        Kind.REVERSE: Verb.REVERSE,
    }.get(kind, Verb.REFINE)
