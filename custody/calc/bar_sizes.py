"""The nominal size of a bar by its gross weight."""

from custody.calc.mass import TROY_OUNCE, TROY_OUNCE_PARTS

#: Bars stand in the size that their gross is within this share of, in parts per thousand (common practice: a cast
#: bar weighs a little over its nominal weight, a struck one next to nothing).
NEAR = 5

_GRAMS = (1000, 500, 250, 200, 100, 50, 20, 10, 5)
_OUNCES = (100, 50, 25, 10, 5, 1)
_SIZES = tuple((f"{g // 1000} kg" if g >= 1000 else f"{g} g", g * 1000 * TROY_OUNCE_PARTS) for g in _GRAMS) + tuple(
    (f"{ounces} ozt", ounces * TROY_OUNCE) for ounces in _OUNCES
)

#: A London bar holds between 350 and 430 fine troy ounces of gold (LBMA Good Delivery Rules); by gross here.
LONDON_OZT = (350, 430)
LONDON = "350 to 430 ozt"
OTHER = "other weights"

#: Sizes from the largest down, in the order of lists.
SIZES = (LONDON, *(name for name, _ in sorted(_SIZES, key=lambda size: -size[1])), OTHER)


def nominal_size(gross_mg: int) -> str:
    """The nominal size of a bar of so many milligrams gross: one of ``SIZES``."""
    parts = gross_mg * TROY_OUNCE_PARTS
    low, high = LONDON_OZT
    if low * TROY_OUNCE <= parts <= high * TROY_OUNCE:
        return LONDON
    for name, nominal in _SIZES:
        if abs(parts - nominal) * 1000 <= NEAR * nominal:
            return name
    return OTHER


def serial_ranges(serials: list[str]) -> list[str]:
    """Serials in order, runs of consecutive numbers drawn together: ``000001 to 000006``, ``000010``.

    Only serials that differ in a closing number of the same length make a run.
    """
    runs: list[list[str]] = []
    for serial in sorted(serials, key=lambda text: (len(text), text)):
        if runs and _follows(runs[-1][-1], serial):
            runs[-1].append(serial)
        else:
            runs.append([serial])
    return [run[0] if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]


def _follows(one: str, other: str) -> bool:
    head, number = _split(one)
    head_after, after = _split(other)
    return bool(number and after) and head == head_after and len(one) == len(other) and int(after) == int(number) + 1


def _split(serial: str) -> tuple[str, str]:
    head = serial.rstrip("0123456789")
    return head, serial[len(head) :]
