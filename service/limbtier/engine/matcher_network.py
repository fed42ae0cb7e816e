"""Rules as the text of one forward-chaining network.

Each rule is read in two forms, "applies" and "possible" (not false). Both are two-valued statements about
the codes of `matcher_encoding`, so each is written as a few branches: a set of codes for each of some names,
all of which must hold. All branches then hang in one tree, in which branches share the comparisons they have
in common, and each end of the tree is one entry of the network.

The tree shows before anything runs that the network stays inside the limits of the library: how many of its
nodes can wait at once on the library's stack is bounded by the shape of the tree, and guards (comparisons
that always hold) divide it where too many could.
"""

from __future__ import annotations

import string
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from dataclasses import field as member
from itertools import product

from limbtier.domain.condition import AnyOf, Condition, EdgeTest, NoneOf, ValueTest, names
from limbtier.domain.rule import Rule
from limbtier.engine.matcher_encoding import Codes, Encoding, Field, comparisons
from limbtier.foundation.diagnostics import Diagnostic
from limbtier.foundation.errors import InvalidRuleFiles

MOST_FIELDS = 250  # the library takes 252 besides `id` and `sid`
MOST_ENDS = 2_000  # about 14 kB each; the library would take 65,535 answers at once
MOST_BRANCHES = 256  # of one rule
MOST_STEPS = 200
MOST_NAMES_IN_RUNS = 3
MOST_WAITING = 56  # the library's stack has 64 places
FEW_WAITING = 40  # what is tried for: the library looks for names in 32 places, one after the other if full
POSSIBLE, APPLIES = 1, 2

FRAME = "r"
SENTINEL = "e"
SENTINEL_ALIAS = "m"
GUARD = "g"
_ALIASES = tuple(first + second for first, second in product(string.ascii_letters, repeat=2))
_NAMES_OF_THE_LIBRARY = (
    "id",
    "sid",
    "$s",
    "$m",
    "$i",
    "$forward",
    "$time",
    "$timerName",
    "$baseTime",
    "all",
    "any",
    "pri",
    "count",
    "cap",
    "dist",
    "name",
    "$l",
    "$r",
    "$and",
    "$or",
    "$not",
    "$lt",
    "$lte",
    "$gt",
    "$gte",
    "$eq",
    "$neq",
    "$ex",
    "$nex",
    "$mt",
    "$imt",
    "$iall",
    "$iany",
    "$all",
    "$any",
    "$add",
    "$sub",
    "$mul",
    "$div",
)

Branch = dict[str, Codes]
Step = tuple[str, str, int]


@dataclass(slots=True)
class Node:
    """What is true (as bits) once this node is reached, and the comparisons below it."""

    says: int = 0
    below: dict[Step, Node] = member(default_factory=dict)

    def most_waiting(self) -> int:
        """The most nodes that can wait on the stack while the tree below is walked: when all comparisons
        hold, and the largest part is walked first while the others wait."""
        if not self.below:
            return 0
        return len(self.below) - 1 + max(1, *(node.most_waiting() for node in self.below.values()))


class Network:
    """What the library needs to build the network, and what its answers mean.

    `entries` gives for each alias, always two letters, the bits that it says: `POSSIBLE` or `APPLIES` of a
    rule, shifted by eight for each place of the rule. Raises InvalidRuleFiles when a limit is passed.
    """

    def __init__(self, rules: Sequence[Rule]) -> None:
        self.count = len(rules)
        read = frozenset(name for rule in rules for name in names(rule.when))
        if len(read) > MOST_FIELDS:
            raise _too_much(f"rules that read {len(read)} names", f"{MOST_FIELDS} names")
        self.encoding = Encoding((rule.when for rule in rules), safe_labels())
        fields = self.encoding.fields
        ends: dict[frozenset[Step], int] = {}
        for place, rule in enumerate(rules):
            for form in (POSSIBLE, APPLIES):
                for branch in _branches(rule, fields, possibly=form == POSSIBLE):
                    for steps in _ends(branch, fields):
                        ends[steps] = ends.get(steps, 0) | form << 8 * place
                if len(ends) > MOST_ENDS:
                    raise _too_much(f"rules with over {MOST_ENDS} branches together", f"{MOST_ENDS}")
        longest = max(map(len, ends), default=0)
        if longest > MOST_STEPS:
            raise _too_much(f"a branch of {longest} comparisons", f"{MOST_STEPS}")
        root = _grown(list(ends.items()), {field.label: field.size for field in fields.values()})
        root = _divided_well(root)
        if root.says or any(label != GUARD for label, _, _ in root.below):
            # A guard before everything: the library's own state fact has no guard field, so it meets nothing.
            root = Node(0, {_guard(0): root})
        self.most_waiting = root.most_waiting()
        if self.most_waiting > MOST_WAITING:
            raise _too_much(f"a tree in which {self.most_waiting} nodes can wait", f"{MOST_WAITING}")
        self.entries: dict[str, int] = {}
        written = []
        for alias, (path, says) in zip(_ALIASES, _walk(root, ()), strict=False):
            self.entries[alias] = says
            written.append(f'"all":[{{"{alias}":{{"$and":[{",".join(map(_condition, path))}]}}}}]')
        frame = f'"{FRAME}":{{"cap":65535,{",".join(written)}}},' if written else ""
        sentinel = f'"{SENTINEL}":{{"all":[{{"{SENTINEL_ALIAS}":{{"$and":[{_condition(_guard(0))}]}}}}]}}'
        self.definition = f"{{{frame}{sentinel}}}"


class _TooManyBranchesError(Exception):
    """One rule has more branches than the matcher carries."""


def name_hash(name: str) -> int:
    """The 32-bit FNV-1a hash, by which alone the library tells names apart (names in ASCII)."""
    value = 0x811C9DC5
    for byte in name.encode("ascii"):
        value = (value ^ byte) * 0x01000193 & 0xFFFFFFFF
    return value


def safe_labels() -> Iterator[str]:
    """Short names for fields, of which the library confuses none with another or with a name of its own."""
    taken = {0, *map(name_hash, (*_NAMES_OF_THE_LIBRARY, GUARD))}
    for label in (*string.ascii_letters, *_ALIASES):
        if name_hash(label) not in taken:
            taken.add(name_hash(label))
            yield label


def _branches(rule: Rule, fields: Mapping[str, Field], *, possibly: bool) -> list[Branch]:
    try:
        return _ways(rule.when, fields, possibly=possibly, holds=True)
    except _TooManyBranchesError:
        raise InvalidRuleFiles(
            [
                Diagnostic(
                    "too-many-branches",
                    f"Rule `{rule.id}` can be met in more than {MOST_BRANCHES} ways.",
                    "Write fewer `any_of` and `none_of` lists side by side: split the rule, or let other "
                    "rules classify a named fact and test that.",
                    file=rule.file,
                    line=rule.line,
                )
            ]
        ) from None


def _ways(condition: Condition, fields: Mapping[str, Field], *, possibly: bool, holds: bool) -> list[Branch]:
    """The branches in which the condition applies (or, with `possibly`, is not false); without `holds`, the
    branches in which it does not. `none_of` applies where no part is possible, and is possible where none
    applies. Raises _TooManyBranchesError."""
    if isinstance(condition, ValueTest | EdgeTest):
        codes = fields[condition.name].met_by(condition, possibly=possibly, holds=holds)
        return [{condition.name: codes}] if codes else []
    turned = isinstance(condition, NoneOf)
    parts = [
        _ways(part, fields, possibly=possibly != turned, holds=holds != turned) for part in condition.parts
    ]
    if holds == isinstance(condition, AnyOf):
        return _united([branch for part in parts for branch in part], fields)
    ways: list[Branch] = [{}]
    for part in parts:
        both = (_both(one, other) for one, other in product(ways, part))
        ways = _united([branch for branch in both if branch is not None], fields)
    return ways


def _both(one: Branch, other: Branch) -> Branch | None:
    """The branch in which both hold, if there is one."""
    branch = dict(one)
    for name, codes in other.items():
        branch[name] = branch.get(name, codes) & codes
        if not branch[name]:
            return None
    return branch


def _united(branches: list[Branch], fields: Mapping[str, Field]) -> list[Branch]:
    """The same branches, those that differ in one name only made one."""
    for name in sorted({name for branch in branches for name in branch}):
        every = frozenset(range(fields[name].size))
        groups: dict[frozenset[tuple[str, Codes]], Codes] = {}
        for branch in branches:
            others = frozenset(item for item in branch.items() if item[0] != name)
            groups[others] = groups.get(others, frozenset()) | branch.get(name, every)
        branches = [
            dict(others) if codes == every else {**dict(others), name: codes}
            for others, codes in groups.items()
        ]
    if len(branches) > MOST_BRANCHES:
        raise _TooManyBranchesError
    return branches


def _ends(branch: Branch, fields: Mapping[str, Field]) -> Iterator[frozenset[Step]]:
    """The comparisons of a branch. Of names whose codes are scattered, a few are told in runs, one end for
    each: no two runs can hold at once, and one more comparison costs more than one more end."""
    told = [
        (field.label, field.size, codes, comparisons(codes, field.size))
        for field, codes in ((fields[name], codes) for name, codes in branch.items())
    ]
    told.sort(key=lambda entry: -len(entry[3]))
    ways: list[list[list[Step]]] = []
    for label, size, codes, few in told:
        parts = [few]
        if len(few) > 2 and len(ways) < MOST_NAMES_IN_RUNS:
            parts = [comparisons(run, size) for run in _runs(codes)]
        ways.append([[(label, *comparison) for comparison in part] for part in parts])
    for way in product(*ways):
        yield frozenset(step for steps in way for step in steps)


def _runs(codes: Codes) -> list[Codes]:
    """The codes in runs of neighbours."""
    runs: list[list[int]] = []
    for code in sorted(codes):
        if runs and runs[-1][-1] == code - 1:
            runs[-1].append(code)
        else:
            runs.append([code])
    return [frozenset(run) for run in runs]


def _grown(ends: list[tuple[frozenset[Step], int]], sizes: Mapping[str, int]) -> Node:
    """The tree of these ends. Each time the comparison goes first that most ends share and that fails for
    most codes: the network then makes few comparisons for an ordinary message."""
    node = Node()
    for steps, says in ends:
        if not steps:
            node.says |= says
    rest = [end for end in ends if end[0]]
    while rest:
        shared: dict[Step, int] = {}
        for steps, _ in rest:
            for step in steps:
                shared[step] = shared.get(step, 0) + 1
        first = max(sorted(shared), key=lambda step: shared[step] * (1 + _fails(step, sizes[step[0]])))
        node.below[first] = _grown([(steps - {first}, says) for steps, says in rest if first in steps], sizes)
        rest = [end for end in rest if first not in end[0]]
    return node


def _fails(step: Step, size: int) -> float:
    """The share of codes for which a comparison fails."""
    match step:
        case (_, "$eq", _):
            return 1 - 1 / size
        case (_, "$neq", _):
            return 1 / size
        case (_, "$gte", code):
            return code / size
        case (_, _, code):
            return 1 - (code + 1) / size


def _divided_well(node: Node) -> Node:
    """The same tree, divided so that its walk is short, or at least stays inside the stack."""
    divided = _divided(node, FEW_WAITING)
    return divided if divided.most_waiting() <= MOST_WAITING else _divided(node, MOST_WAITING)


def _divided(node: Node, room: int) -> Node:
    """The same tree, divided by guards so that at most `room` nodes wait, as far as that can be done."""
    if node.most_waiting() <= room:
        return node
    steps = [(step, _divided(below, room // 2)) for step, below in node.below.items()]
    return Node(node.says, _grouped(steps, room))


def _grouped(steps: list[tuple[Step, Node]], room: int) -> dict[Step, Node]:
    for groups in range(2, room):
        below = {_guard(group): Node(0, dict(steps[group::groups])) for group in range(groups)}
        if Node(0, below).most_waiting() <= room:
            return below
    if len(steps) == 1 or room < 2:
        return dict(steps)
    return {_guard(half): Node(0, _grouped(steps[half::2], room - 1)) for half in range(2)}


def _guard(number: int) -> Step:
    return GUARD, "$lte", number + 1


def _walk(node: Node, path: tuple[Step, ...]) -> Iterator[tuple[tuple[Step, ...], int]]:
    if node.says:
        yield path, node.says
    for step, below in node.below.items():
        yield from _walk(below, (*path, step))


def _condition(step: Step) -> str:
    label, comparison, code = step
    return f'{{"{label}":{code}}}' if comparison == "$eq" else f'{{"{comparison}":{{"{label}":{code}}}}}'


def _too_much(found: str, most: str) -> InvalidRuleFiles:
    return InvalidRuleFiles(
        [
            Diagnostic(
                "edition-too-large",
                f"This edition has {found}; the matcher carries {most}.",
                "Let fewer rules hang on `any_of` and `none_of` lists: classify named facts and test those.",
            )
        ]
    )
