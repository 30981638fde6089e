"""What an address or a hidden field names: read strictly, for anybody can type it."""

#: A row's id has no more digits; longer ones are refused by the database as no number at all.
_LONGEST_ID = 18


def id_asked(text: str) -> int | None:
    """The id of a row; None for what is none, which is then asked for like a row that is not there."""
    return int(text) if text.isascii() and text.isdigit() and len(text) <= _LONGEST_ID else None
