"""Fields of solutions: litres, density, what a litre holds, pH. Read as typed, never guessed."""

from custody.calc import reading
from custody.calc.refusals import Refused
from custody.calc.solutions import Found, hundredths, litres
from custody.web.forms import ThousandthsField

#: No tank of a refinery holds more; a larger figure is a slip of the decimal point.
MOST_LITRES = 1_000_000
MOST_G_ML = 20
MOST_MG_L = 3_000_000


class LitresField(ThousandthsField):
    """Litres with at most three decimals, cleaned to millilitres; ``None`` when blank."""

    what, most = "volume", MOST_LITRES

    def parse(self, text: str) -> int:
        value = super().parse(text)
        if value > self.most * 1000:
            raise Refused(f"The {self.what} is more than {self.most}. Check the decimal point.", field=self.what)
        return value


class DensityField(LitresField):
    """Grams a millilitre, cleaned to milligrams a millilitre; ``None`` when blank."""

    what, most, example = "density", MOST_G_ML, "1.05"


class ConcentrationField(LitresField):
    """Milligrams a litre, cleaned to ``Found``: micrograms a litre; ``<0.05`` is below detection, counted at it."""

    what, most, clean_type = "concentration", MOST_MG_L, Found

    def __init__(self, **kwargs):
        super().__init__(**{"zero": True} | kwargs)

    def parse(self, text: str) -> Found:
        text = text.strip()
        below = text.startswith("<")
        ug_l = super().parse(text[1:].strip() if below else text)
        if below and not ug_l:
            raise Refused("A limit of detection is more than zero: write it like <0.05.", field=self.what)
        return Found(ug_l, below)

    def show(self, found: Found) -> str:
        return f"{'<' if found.below else ''}{litres(found.ug_l)}"


class PhField(ThousandthsField):
    """A pH from -2 to 16 with at most two decimals, cleaned to hundredths; ``None`` when blank."""

    what = "pH"

    def __init__(self, **kwargs):
        super().__init__(**{"zero": True} | kwargs)

    def parse(self, text: str) -> int:
        negative = text.strip().startswith("-")
        text = reading.clean(text.strip()[negative:], what=self.what, example="8.50")
        value = reading.scaled(text, decimals=2, most=2, what=self.what, example="8.50")
        if value > (200 if negative else 1600):
            raise Refused("A pH lies between -2 and 16. Check the decimal point.", field=self.what)
        return -value if negative else value

    def show(self, centi: int) -> str:
        return hundredths(centi).replace("\N{MINUS SIGN}", "-")
