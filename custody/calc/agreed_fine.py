"""The agreed fine gold content of small bars in troy ounces, by nominal weight and fineness in ppm.

Source: "Gold Conversion Tables", figures stated as the LBMA's, https://docslib.org/doc/2119196/gold-conversion-tables
A formula does not replace it: no single rounding rule gives every figure (50 g of 995 is agreed as 1.600, by
arithmetic it is 1.599).
"""

from decimal import Decimal
from types import MappingProxyType

_FINENESSES = (995_000, 999_000, 999_900)
_ROWS = {
    "1 kg": "31.990 32.119 32.148",
    "500 g": "15.995 16.059 16.074",
    "250 g": "7.998 8.030 8.037",
    "200 g": "6.398 6.424 6.430",
    "100 g": "3.199 3.212 3.215",
    "50 g": "1.600 1.607 1.608",
    "20 g": "0.640 0.643 0.643",
    "10 g": "0.321 0.322 0.322",
    "5 g": "0.161 0.161 0.161",
    "100 ozt": "99.500 99.900 99.990",
    "50 ozt": "49.750 49.950 49.995",
    "25 ozt": "24.875 24.975 24.998",
    "10 ozt": "9.950 9.990 9.999",
    "5 ozt": "4.975 4.995 5.000",
    "1 ozt": "0.995 0.999 1.000",
    "10 tola": "3.731 3.746 3.750",
    "5 tael": "5.987 6.011 6.017",
}

AGREED_FINE_OZT = MappingProxyType(
    {
        nominal: MappingProxyType(dict(zip(_FINENESSES, map(Decimal, row.split()), strict=True)))
        for nominal, row in _ROWS.items()
    }
)
