"""How a scale's figures are said: with as many decimals as it shows."""

from custody.calc.mass import format_fine_grams

COARSE, FINE = 3, 6
STATE_TONES = {
    "checked today": "good",
    "not checked today": "wait",
    "failed its check": "stop",
    "out of use": "plain",
}


def decimals_of(step_ug: int) -> int:
    """How many decimals of a gram tell everything that a display with this step shows."""
    return FINE if step_ug % 1000 else COARSE


def shown(ug: int, decimals: int = COARSE) -> str:
    """Micrograms as grams; with six decimals where three would lose something."""
    return format_fine_grams(ug, decimals=decimals)


def signed(ug: int, decimals: int = COARSE) -> str:
    """An error: what reads too much says so with its sign."""
    return f"+{shown(ug, decimals)}" if ug > 0 else shown(ug, decimals)
