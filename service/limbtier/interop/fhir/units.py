"""Quantities in UCUM units, converted only where the factor between two units is exact."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any, Final

from limbtier.domain.vocabulary import Input
from limbtier.interop.fhir.elements import ELEMENT, Faults, Json, Steps, check_elements, shown
from limbtier.interop.fhir.identifiers import UCUM
from limbtier.interop.fhir.questionnaire import UNITS

# How many of the second unit one of the first is. Metric prefixes are powers of ten; the international inch
# is 2.54 cm by its definition (UCUM: [in_i] = 2.54 cm).
EXACT: Final = {
    ("mm", "cm"): Fraction(1, 10),
    ("cm", "mm"): Fraction(10),
    ("m", "cm"): Fraction(100),
    ("m", "mm"): Fraction(1000),
    ("[in_i]", "cm"): Fraction(254, 100),
    ("[in_i]", "mm"): Fraction(254, 10),
}
# Known, and refused: one mm[Hg] is 133.322 Pa in UCUM and 133.322387415 Pa elsewhere, so that a value in kPa
# would have to be rounded, and the rounding could move it over an edge.
PRESSURES: Final = ("kPa", "Pa", "hPa", "bar", "cm[H2O]", "[psi]")
_READ: Final = frozenset({"value", "system", "code", "comparator"})
_IGNORED: Final = ELEMENT | {"unit"}


def read_quantity(
    quantity: Any, entry: Input, steps: Steps, faults: Faults
) -> tuple[int | Decimal, str | None] | None:
    """The number in the unit of the input, and what to tell of a conversion. None when it was refused."""
    if not isinstance(quantity, dict):
        faults.add("wrong-type", "The quantity is no object.", "Send a Quantity.", steps)
        return None
    before = len(faults)
    check_elements(quantity, _READ, _IGNORED, steps, faults)
    value = quantity.get("value")
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        message = "The quantity has no number as its value."
        faults.add("wrong-type", message, "Send `value` as a JSON number.", (*steps, "value"))
    elif isinstance(value, Decimal) and value and abs(value.adjusted()) > 12:
        faults.add("out-of-range", "The value is beyond any measurement.", "Check it.", (*steps, "value"))
    if "comparator" in quantity:
        message = "The value is only known to lie above or below a number."
        advice = "Send a measured value, or leave the observation out."
        faults.add("value-not-exact", message, advice, (*steps, "comparator"))
    wanted = UNITS.get(entry.unit or "")
    unit = _unit(quantity, wanted, entry, steps, faults)
    if len(faults) > before or unit is None or wanted is None or not isinstance(value, int | Decimal):
        return None
    if unit == wanted:
        return value, None
    return _converted(value, unit, wanted, entry, steps, faults)


def _unit(quantity: Json, wanted: str | None, entry: Input, steps: Steps, faults: Faults) -> str | None:
    unit = quantity.get("code")
    if wanted is None:
        message = f"`{entry.name}` has no unit that UCUM knows."
        faults.add("unit-not-taken", message, "Answer it in the questionnaire response.", steps)
    elif quantity.get("system") != UCUM or not isinstance(unit, str):
        message = "The quantity has no unit in UCUM."
        advice = f"Send `system` {UCUM} and `code` {wanted}; the text `unit` says nothing certain."
        faults.add("unit-not-taken", message, advice, steps)
    elif unit in PRESSURES and wanted == "mm[Hg]":
        message = f"A value in {unit} cannot be turned into {wanted} exactly."
        advice = f"Send the value in {wanted}, as it was measured."
        faults.add("unit-not-taken", message, advice, (*steps, "code"))
    elif unit != wanted and (unit, wanted) not in EXACT:
        message = f"`{shown(unit)}` is no unit of `{entry.name}`."
        faults.add("unit-not-taken", message, f"Send the value in {wanted}.", (*steps, "code"))
    else:
        return unit
    return None


def _converted(
    value: int | Decimal, unit: str, wanted: str, entry: Input, steps: Steps, faults: Faults
) -> tuple[int | Decimal, str | None] | None:
    factor = EXACT[unit, wanted]
    exact = Fraction(value) * factor
    number = Decimal(exact.numerator) / Decimal(exact.denominator)
    if exact * 10**entry.places % 1:
        message = f"{shown(value)} {unit} is {number} {wanted}, with more decimals than `{entry.name}` has."
        advice = f"Send the value in {wanted} with at most {entry.places} decimals."
        faults.add("too-many-decimals", message, advice, (*steps, "value"))
        return None
    return (
        number,
        f"{value} {unit} was read as {number} {wanted}; one {unit} is exactly {_plain(factor)} {wanted}.",
    )


def _plain(number: Fraction) -> str:
    return str(Decimal(number.numerator) / Decimal(number.denominator))
