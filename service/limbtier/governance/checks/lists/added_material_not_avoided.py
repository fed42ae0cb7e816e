"""A material added to those of the base, and a rule of the base that avoids all others of its kind."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Final

from limbtier.domain.edition import Edition, Material
from limbtier.governance.checks.check import Check, Explanation, Finding, about_rule
from limbtier.governance.checks.context import Context


def find(edition: Edition, _context: Context) -> Iterable[Finding]:
    """Rules that avoid all earlier materials of a kind, or all earlier elastic ones, and not the new one."""
    added = {change.name for change in edition.changes if change.part == "material" and change.act == "added"}
    earlier = [one for name, one in edition.materials.items() if name not in added]
    for name in sorted(added & edition.materials.keys()):
        new = edition.materials[name]
        for rule in edition.rules:
            avoided = set(rule.then.avoid)
            if name in avoided:
                continue
            for alike, words in _alike(new):
                others = {one.name for one in earlier if alike(one) and set(one.tiers) & set(new.tiers)}
                if others and others <= avoided:
                    message = f"The rule avoids {words} but the new `{name}`."
                    advice = (
                        "Avoid it too, or suppress the finding and say why it fits where the others do not."
                    )
                    yield about_rule(rule, message, advice)
                    break


def _alike(new: Material) -> list[tuple[Callable[[Material], bool], str]]:
    """In which ways other materials can be like a new one."""
    found: list[tuple[Callable[[Material], bool], str]] = [
        (lambda one: one.kind == new.kind, f"every other material of the kind {new.kind} at its tiers")
    ]
    if not new.inelastic:
        found.append((lambda one: not one.inelastic, "every other elastic material at its tiers"))
    return found


CHECK: Final = Check(
    id="added-material-not-avoided",
    title="A new material that a rule forgets to avoid",
    explanation=Explanation(
        finds="In an edition based on another: a material that it adds, and a rule that avoids every "
        "other material of the same kind, or every other elastic one, at the tiers of the new one.",
        why="Rules list what they avoid by name. A new kind of hosiery would be chosen for a leaking "
        "leg, where all other hosiery is out.",
        mend="Replace the rule by one that avoids the new material too. If it fits where the others do "
        "not, suppress the finding and say why.",
        example="The edition adds `travel_hosiery`; `wet-or-distorted` avoids `light_hosiery` and "
        "`hosiery_kit` only.",
    ),
    severity="error",
    find=find,
)
