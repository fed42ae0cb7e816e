"""Keeps people's identifiers out: the subject is a pseudonym, and nothing may look like a patient number."""

from __future__ import annotations

import re
from collections.abc import Iterator
from decimal import Decimal
from typing import Any, Final

from limbtier.interop.fhir.elements import Faults, Json, Steps
from limbtier.interop.fhir.identifiers import Identifiers

SNOMED_CT: Final = "http://snomed.info/sct"
# As in `domain.episode`, ten digits are the NHS number, the CHI number and the Health and Care number, often
# in groups. Two things that are full of digits and name nobody are taken out first: UUIDs and dates.
_TEN_DIGITS: Final = re.compile(r"[0-9](?:[ -]?[0-9]){9}")
_NOT_PEOPLE: Final = re.compile(
    r"[0-9a-fA-F]{8}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{4}-[0-9a-fA-F]{12}"
    r"|(?:19|20)[0-9]{2}-(?:0[1-9]|1[0-2])-[0-3][0-9]"
)
_ADVICE: Final = "Send a pseudonym that says nothing about the person, and no identifier of the person."


def refuse_patient_numbers(value: Any, steps: Steps, faults: Faults) -> None:
    """Name every text or number of the request in which ten digits stand together, without repeating it."""
    for where in _ten_digits(value, steps):
        message = "Ten or more digits stand in a row here: they could be a national patient number."
        faults.add("patient-number-refused", message, _ADVICE, where)


def _ten_digits(value: Any, steps: Steps) -> Iterator[Steps]:
    match value:
        case str():
            if _holds_ten_digits(value):
                yield steps
        case int():
            if 10**9 <= abs(value) < 10**14:
                yield steps
        case Decimal():
            if 10**9 <= abs(value) < 10**14:
                yield steps
        case dict():
            coded = value.get("system") == SNOMED_CT  # its codes have up to 18 digits
            for name, item in value.items():
                if _holds_ten_digits(name):
                    yield steps
                elif not (coded and name == "code"):
                    yield from _ten_digits(item, (*steps, name))
        case list():
            for place, item in enumerate(value):
                yield from _ten_digits(item, (*steps, place))


def _holds_ten_digits(text: str) -> bool:
    return len(text) >= 10 and _TEN_DIGITS.search(_NOT_PEOPLE.sub(" ", text)) is not None


def episode_of(resource: Json, steps: Steps, names: Identifiers, faults: Faults) -> str | None:
    """The episode reference of a resource's subject; None when there is no subject, or it was refused.

    Only a logical reference with the service's own system is taken: the id of a Patient resource may be a
    patient number, and a display may be a name.
    """
    if "subject" not in resource:
        return None
    subject, where = resource["subject"], (*steps, "subject")
    wanted = f'Send `{{"identifier": {{"system": "{names.episode}", "value": "..."}}}}` with a pseudonym.'
    if not isinstance(subject, dict):
        faults.add("wrong-type", "`subject` is no object.", wanted, where)
        return None
    for name in subject:
        if name not in ("type", "identifier"):
            message = f"`{name[:40] if name.isprintable() else '?'}` of the subject could name the person."
            faults.add("subject-not-pseudonymous", message, wanted, (*where, name))
    identifier = subject.get("identifier")
    if not isinstance(identifier, dict):
        if "reference" not in subject:
            faults.add("subject-not-pseudonymous", "The subject has no episode reference.", wanted, where)
        return None
    system, value = identifier.get("system"), identifier.get("value")
    if system != names.episode or set(identifier) != {"system", "value"} or not isinstance(value, str):
        message = "The subject is identified by something else than an episode reference."
        faults.add("subject-not-pseudonymous", message, wanted, (*where, "identifier"))
        return None
    return value
