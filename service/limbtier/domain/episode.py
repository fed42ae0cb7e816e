"""Episode references: pseudonyms that group the decisions of one person, never a national patient number."""

from __future__ import annotations

import re

PATTERN = r"^[A-Za-z][A-Za-z0-9._~-]{0,63}$"
_SHAPE = re.compile(PATTERN.removesuffix("$") + r"\Z")
# The NHS number, the CHI number and the Health and Care number all have ten digits, often written in
# groups. Every run of ten or more digits is refused, whatever its check digit says: a mistyped number
# fails the check and would still point at somebody.
_TEN_DIGITS = re.compile(r"[0-9](?:[._~-]*[0-9]){9}")


def episode_problem(reference: str) -> tuple[str, str, str] | None:
    """Code, message and help when the reference cannot be used; None when it can.

    A reference has 1 to 64 letters, digits, and `. _ ~ -`, begins with a letter, and holds no run of ten
    digits, also not with separators between them.
    """
    if not _SHAPE.match(reference):
        return (
            "bad-episode-reference",
            "The episode reference has characters or a length that cannot be used.",
            "Use 1 to 64 letters, digits, and . _ ~ - beginning with a letter.",
        )
    if _TEN_DIGITS.search(reference):
        return (
            "patient-number-refused",
            "The episode reference holds ten or more digits in a row and could be a national patient number.",
            "Use a pseudonym that says nothing about the person; put letters between groups of digits.",
        )
    return None
