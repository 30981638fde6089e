"""Refusals about prices of metals: missing, doubtful, entered twice, confirmed by who entered them."""

from custody.errors.base import Conflict, refusal

NoPrice = refusal(
    "NoPrice",
    "no_price",
    "There is no price of {metal} in {currency}, {fixing}, for {day}. Enter it, with its source.",
    base=Conflict,
    field="price",
)
DoubtfulPrice = refusal(
    "DoubtfulPrice",
    "doubtful_price",
    "The price of {metal} in {currency}, {fixing}, for {day} lies more than {limit} from the one before it, and nobody"
    " confirmed it. A second person confirms it, or a better one replaces it.",
    base=Conflict,
    field="price",
)
PriceDay = refusal("PriceDay", "price_day", "A price is of today or of an earlier day, not of {day}.", field="day")
PriceStands = refusal(
    "PriceStands",
    "price_stands",
    "There is a price of {metal} in {currency}, {fixing}, for {day} already. Say why this one replaces it.",
    base=Conflict,
    field="reason",
)
PriceReplaced = refusal(
    "PriceReplaced",
    "price_replaced",
    "Somebody replaced this price meanwhile. Look at the one that stands, then enter yours.",
    base=Conflict,
    field="amount",
)
PriceOfSomething = refusal(
    "PriceOfSomething",
    "price_of_something",
    "A price is more than zero, of a metal of account, in a currency, per g or ozt, with its fixing and its source.",
    field="amount",
)
PriceConfirmedByAnother = refusal(
    "PriceConfirmedByAnother",
    "price_confirmed_by_another",
    "Who enters a price does not confirm it. Ask another metal accountant or a manager.",
    base=Conflict,
    field="prices",
)
PriceConfirm = refusal(
    "PriceConfirm",
    "price_confirm",
    "Only a doubtful price that stands is confirmed. Look at the list again.",
    base=Conflict,
    field="prices",
)
PriceConfirmRight = refusal(
    "PriceConfirmRight",
    "price_confirm_right",
    "Metal accountants and managers confirm prices.",
    field="prices",
)
PriceLimitAhead = refusal(
    "PriceLimitAhead",
    "price_limit",
    "A limit holds from today or a later day: prices of earlier days were judged by theirs.",
    field="valid_from",
)
