"""Currencies by their three letters, as ISO 4217 lists them (from memory); an invented one is a slip of the keys."""

from custody.calc.reading import quoted
from custody.calc.refusals import Refused

_LISTED = """
AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BRL BSD BTN BWP BYN BZD CAD CDF CHF CLP
CNY COP CRC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD GNF GTQ GYD HKD HNL HTG HUF IDR
ILS INR IQD IRR ISK JMD JOD JPY KES KGS KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA MKD MMK MNT
MOP MRU MUR MVR MWK MXN MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON RSD RUB RWF SAR SBD
SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH UGX USD UYU UZS VED VES
VND VUV WST XAF XCD XOF XPF YER ZAR ZMW ZWG
"""
CODES = frozenset(_LISTED.split())
#: Those that metal is usually settled in, offered first.
USUAL = ("USD", "EUR", "GBP", "CHF", "CAD", "AUD", "JPY", "ZAR")


def currency_code(text: str) -> str:
    """The three letters of a currency, in capitals. Raises Refused for what is none."""
    code = text.strip().upper()
    if code not in CODES:
        raise Refused(f"{quoted(text)} is no currency. Write its three letters, like USD.", field="currency")
    return code
