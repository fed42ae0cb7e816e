"""A second request that differs from the first in some answers, and in what is asked because of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from limbtier.domain.condition import ALWAYS, names
from limbtier.domain.vocabulary import Vocabulary
from limbtier.governance.proofs.encoding import Encoding
from limbtier.governance.proofs.formulas import Formula, any_of
from limbtier.governance.proofs.requests import Request, same_answer
from limbtier.governance.proofs.workbench import Workbench


@dataclass(frozen=True, slots=True)
class Changed:
    """The second request and the edition over it.

    `asked_by_it` are the inputs that are asked only because of those that change. `allowed` says that the
    request is taken, and that one of these which is asked in both requests is answered alike in both.
    """

    request: Request
    encoding: Encoding
    asked_by_it: tuple[str, ...]
    allowed: tuple[Formula, ...]


def changed(bench: Workbench, named: Sequence[str], mark: str) -> Changed:
    """The named answers change in any way. What is asked only then may have any answer, or none."""
    free = dependents(bench.edition.vocabulary, named)
    request: Request = {
        name: bench.domain.answer(sent.entry, mark) if name in free else sent
        for name, sent in bench.request.items()
    }
    encoding = bench.encode(request)
    asked_by_it = tuple(sorted(free.difference(named)))
    alike = (
        any_of(
            (
                bench.encoding.not_asked.get(name, False),
                encoding.not_asked.get(name, False),
                same_answer(bench.request[name], request[name]),
            )
        )
        for name in asked_by_it
    )
    return Changed(request, encoding, asked_by_it, (*encoding.accepted, *alike))


def dependents(vocabulary: Vocabulary, named: Sequence[str]) -> frozenset[str]:
    """The named inputs, and those that are asked only because of an answer to one of them."""
    found = set(named)
    for name, entry in vocabulary.inputs.items():  # a condition reads only earlier inputs
        if names(entry.asked_when or ALWAYS) & found:
            found.add(name)
    return frozenset(found)
