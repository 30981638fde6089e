"""Refusals of the exchange of assays with a party."""

from custody.errors.base import Conflict, refusal

ExchangeDue = refusal(
    "ExchangeDue",
    "exchange_due",
    "The assays of lot {lot} are exchanged with {party}, as agreed. Open the exchange: what it comes to values it.",
    base=Conflict,
    field="determination",
)
ExchangeAgreed = refusal(
    "ExchangeAgreed",
    "exchange_agreed",
    "The assays of what {party} delivers are exchanged, as agreed: send parcel {lot} without its fine metal. What the"
    " exchange comes to values it.",
    field="outputs",
)
SealedByAnother = refusal(
    "SealedByAnother",
    "sealed_by_another",
    "The results in exchange {exchange} go through different hands: who determined or handed in the refinery’s has no"
    " part in the customer’s, nor the other way round. Have another person do it.",
    base=Conflict,
    field="by",
)
ExchangeNamed = refusal(
    "ExchangeNamed",
    "exchange_named",
    "What an exchange of assays came to is recorded on the page of the exchange. Say how the laboratory determined it.",
    field="method",
)
SplittingLimits = refusal(
    "SplittingLimits", "splitting_limits", "A splitting limit lies between 0 and 1000 per mille.", field="au_limit_ppm"
)
UnknownUmpireRule = refusal(
    "UnknownUmpireRule", "umpire_rule", "Say which result counts once the umpire has assayed.", field="rule"
)
UmpireIsAThird = refusal(
    "UmpireIsAThird", "umpire_is_a_third", "The umpire is a third laboratory, not the party itself.", field="umpire"
)
