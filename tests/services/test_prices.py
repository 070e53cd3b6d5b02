"""What a part costs, as the clinic enters it."""

import pytest
from world import World

from bracewatch.services.prices import PriceRefused, set_part_price
from bracewatch.store import tables as t


def kept(world: World) -> tuple[float | None, str | None]:
    (row,) = world.rows(t.clinic)
    return row.part_price, row.part_currency


@pytest.mark.parametrize(
    ("price", "currency", "expected"),
    [("0.80", "KES", (0.8, "KES")), ("0,0075", " usd ", (0.0075, "USD")), ("800", "IRR", (800.0, "IRR"))],
)
def test_a_price_is_kept(world: World, price: str, currency: str, expected: tuple[float, str]) -> None:
    set_part_price(world.store, world.clinic_id, price, currency)
    assert kept(world) == expected


def test_an_empty_price_is_no_price(world: World) -> None:
    set_part_price(world.store, world.clinic_id, "0.80", "KES")
    set_part_price(world.store, world.clinic_id, "", " ")
    assert kept(world) == (None, None)


@pytest.mark.parametrize("price", ["", "0", "-1", "free", "nan", "inf", "1e9", "1.2.3", "1,000.5"])
def test_what_is_no_price_is_refused(world: World, price: str) -> None:
    with pytest.raises(PriceRefused, match="is no price of one part"):
        set_part_price(world.store, world.clinic_id, price, "KES")
    assert kept(world) == (None, None)


@pytest.mark.parametrize("currency", ["", "KSH", "€", "kenyan shilling"])
def test_what_is_no_currency_of_iso_4217_is_refused(world: World, currency: str) -> None:
    """ISO 4217 as Unicode CLDR lists it, through Babel: READ. "KSH" is a common way to write KES and not its code."""
    with pytest.raises(PriceRefused, match="is no currency"):
        set_part_price(world.store, world.clinic_id, "0.80", currency)
    assert kept(world) == (None, None)
