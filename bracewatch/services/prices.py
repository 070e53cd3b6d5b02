"""What a part of a text costs a clinic, as the clinic says: for estimates, the network's bill decides."""

from __future__ import annotations

import math

from babel.numbers import list_currencies
from sqlalchemy import update

from bracewatch.store import Store
from bracewatch.store import tables as t

DEAREST_PART = 1_000_000.0


class PriceRefused(ValueError):
    """The price was not kept. `faults` names everything that is wrong, and what to do."""

    def __init__(self, faults: list[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(faults))


def set_part_price(store: Store, clinic_id: int, typed: str, currency: str) -> None:
    """Keep the price of one part, as in "0.80", in a currency of ISO 4217, as in "KES"; both empty: no price is known.

    Currencies are those of the Unicode locale data (CLDR), which keeps withdrawn ones too. Raises PriceRefused.
    """
    typed, currency = typed.strip(), currency.strip().upper()
    price = None
    faults = []
    if typed or currency:
        price = _read(typed)
        if price is None:
            faults.append(
                f"“{typed}” is no price of one part: write a number above 0, as in 0.80, or leave both fields empty"
            )
        if currency not in list_currencies():
            faults.append(f"“{currency}” is no currency: write its three letters (ISO 4217), as in KES, EGP or INR")
    if faults:
        raise PriceRefused(faults)
    with store.begin() as connection:
        connection.execute(
            update(t.clinic)
            .where(t.clinic.c.id == clinic_id)
            .values(part_price=price, part_currency=currency if price is not None else None)
        )


def _read(typed: str) -> float | None:
    if typed.count(",") == 1 and "." not in typed:
        typed = typed.replace(",", ".")
    try:
        price = float(typed)
    except ValueError:
        return None
    return price if math.isfinite(price) and 0 < price <= DEAREST_PART else None
