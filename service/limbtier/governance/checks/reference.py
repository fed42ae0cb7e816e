"""The page on all checks, and the explanation of one: written from the checks themselves."""

from __future__ import annotations

import textwrap
from typing import Final

from limbtier.governance.checks.check import Check
from limbtier.governance.checks.registry import BY_TOPIC, CHECKS

WIDTH: Final = 110

_HEAD: Final = """# The checks of rule files

Made by `limbtier checks` from the checks themselves; do not edit it by hand. `limbtier check` runs them after
loading, which refuses whatever is no sound rule file (an unknown source, a missing reason, an arrangement
without a deadline, a material that one rule both chooses and avoids, and more), and after the worked cases.

An error fails the check, a warning does not, unless `--strict` is given. Severities, marks and known words
are set in [checks.yaml](checks.yaml). A finding that is right and is to stay is accepted there, under
`suppressions`, by check, edition, part and name, with a reason, the role that decided it, and the day until
which it holds. What an edition takes over from its base is judged with the base and not repeated.

Checks marked with * ask the prover about every assessment that can be sent; `--quick` leaves them out.
"""


def checks_page() -> str:
    """The text of `CHECKS.md`."""
    lines = [_HEAD, "| check | severity | finds |", "|---|---|---|"]
    for checks in BY_TOPIC.values():
        for one in checks:
            mark = " *" if one.needs_prover else ""
            lines.append(f"| [{one.id}](#{one.id}){mark} | {one.severity} | {one.title} |")
    for topic, checks in BY_TOPIC.items():
        lines += ["", f"## {topic}"]
        for one in checks:
            lines += ["", f"### {one.id}", "", *_paragraphs(one)]
    return "\n".join(lines) + "\n"


def _paragraphs(check: Check) -> list[str]:
    told = check.explanation
    return [
        f"{check.title}. Severity: {check.severity}.",
        "",
        *_wrapped(f"**Finds.** {told.finds}"),
        "",
        *_wrapped(f"**Why.** {told.why}"),
        "",
        *_wrapped(f"**Mend.** {told.mend}"),
        "",
        *_wrapped(f"**Example.** {told.example}"),
    ]


def _wrapped(text: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, break_long_words=False, break_on_hyphens=False)


def explanation(check_id: str) -> str:
    """What one check finds, why it matters, how to mend it and an example. Raises KeyError."""
    check = CHECKS[check_id]
    told = check.explanation
    parts = [
        f"{check.id}: {check.title} ({check.severity})",
        *(
            textwrap.fill(f"{label}: {text}", WIDTH, subsequent_indent="  ", break_on_hyphens=False)
            for label, text in (
                ("Finds", told.finds),
                ("Why", told.why),
                ("Mend", told.mend),
                ("Example", told.example),
            )
        ),
    ]
    if check.needs_prover:
        parts.append("It asks the prover about every assessment; --quick leaves it out.")
    return "\n".join(parts) + "\n"
