"""Money: exact sums, rounded as the currency is, written as the club's locale writes it.

In: Decimal amounts, a three-letter currency code, a locale such as en-GB. Out: Decimals of the currency's decimals, and
text. Source of decimals and marks: the Unicode locale data that Babel carries.
"""

from __future__ import annotations

import re
from decimal import ROUND_HALF_UP, Decimal

from babel import Locale, UnknownLocaleError
from babel.numbers import format_currency, get_currency_precision

_CODE = re.compile(r"^[A-Z]{3}$")
DEFAULT_LOCALE = "en_GB"


def to_money(amount: float | Decimal | str, currency: str) -> Decimal:
    """The amount in whole smallest coins of the currency, halves away from zero.

    >>> to_money(12.345, "EUR"), to_money(12.5, "JPY")
    (Decimal('12.35'), Decimal('13'))
    """
    exact = amount if isinstance(amount, Decimal) else Decimal(str(amount))
    places = get_currency_precision(currency) if _CODE.match(currency) else 2
    return exact.quantize(Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP)


def money_text(amount: float | Decimal, currency: str, locale: str = DEFAULT_LOCALE, is_whole: bool = False) -> str:
    """The amount as people write it; is_whole: without the small coins, for estimates.

    >>> money_text(Decimal("1234.5"), "EUR", "en-GB"), money_text(1234.5, "EUR", "en-GB", is_whole=True)
    ('€1,234.50', '€1,235')
    """
    whole = Decimal(1)
    value = to_money(amount, currency) if not is_whole else Decimal(str(amount)).quantize(whole, rounding=ROUND_HALF_UP)
    pattern = _pattern(locale, is_whole)
    if not _CODE.match(currency):
        return f"{value:,} {currency}"
    text = format_currency(value, currency, format=pattern, locale=_locale(locale), currency_digits=not is_whole)
    return re.sub(r"([A-Za-z])(\d)", "\\1\u00a0\\2", text)  # a code of letters stands off its number


def _locale(locale: str) -> Locale:
    try:
        return Locale.parse(locale.replace("-", "_"))
    except (ValueError, UnknownLocaleError):
        return Locale.parse(DEFAULT_LOCALE)


def _pattern(locale: str, is_whole: bool) -> str | None:
    """The locale's own pattern, without decimals for whole amounts."""
    if not is_whole:
        return None
    standard = _locale(locale).currency_formats["standard"].pattern
    return re.sub(r"([#0])[.]0+", r"\1", standard)
