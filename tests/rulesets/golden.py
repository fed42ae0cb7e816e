"""Message cases: a change to the small edition, and the exact diagnostics that loading it must give.

A case is a text file. Its first lines say in a sentence what it shows; then come sections, each under a line
that begins with `=== `:

    === replace in <path>     whole lines that stand there exactly once ...
    === with                  ... and the lines that take their place
    === add <path>            a file with these lines
    === escaped <path>        a file with these bytes, written with \\x escapes and without a line end
    === fill <path>           a file of as many bytes as the line says
    === remove <path>         takes the file away
    === rules <number>        adds so many further rules
    === remarks <number>      adds so many files that hold only a remark
    === local <version>       puts the edition that is based on the small one at local/<version>
    === says                  all diagnostics, in their order

Paths are relative to the rules folder.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

from limbtier.foundation.errors import InvalidRuleFiles
from limbtier.rulesets.repository import RuleRepository

HERE = Path(__file__).parent
SMALL_RULES = HERE / "small_edition"
LOCAL_EDITION = HERE / "local_edition" / "2026.1.0"
EDITION = "small/2026.1.0"
MARK = "=== "


@dataclass(frozen=True, slots=True)
class MessageCase:
    """One case as written; `sections` are the headings with the lines below them."""

    sentence: str
    sections: tuple[tuple[str, str], ...]

    @property
    def says(self) -> str:
        """The diagnostics expected."""
        return dict(self.sections)["says"]


def read_case(path: Path) -> MessageCase:
    """The case of a file."""
    head, *parts = ("\n" + path.read_text(encoding="utf-8")).split("\n" + MARK)
    sections = []
    for part in parts:
        heading, _, body = part.partition("\n")
        sections.append((heading.strip(), body.removesuffix("\n")))
    return MessageCase(head.strip(), tuple(sections))


def copy_of_small_rules(folder: Path) -> Path:
    """A rules folder of its own that a test may change."""
    return Path(shutil.copytree(SMALL_RULES, folder / "rules"))


def many_rules(number: int) -> str:
    """A file with so many sound rules."""
    rules = "".join(
        f"  - id: rule-{place}\n    title: Made up\n    when: {{toe_pressure_mmhg: {{below: {place}}}}}\n"
        "    then: {caution: Made up.}\n    because: Made up.\n    sources: [common-practice]\n"
        for place in range(number)
    )
    return f"topic: Many\nrules:\n{rules}"


def copy_of_local_edition(rules: Path, version: str = "2026.1.0") -> Path:
    """The edition that is based on the small one, put into a rules folder under a version of its own."""
    folder = rules / "local" / version
    shutil.copytree(LOCAL_EDITION, folder)
    for name in ("edition.yaml", "CHANGES.md"):
        text = (folder / name).read_text(encoding="utf-8").replace("2026.1.0\n", f"{version}\n")
        text = text.replace("based_on: small-" + version, "based_on: small-2026.1.0")
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
    return folder


def apply(case: MessageCase, rules: Path) -> None:
    """Make the changes of a case in a rules folder."""
    replaced: tuple[Path, str] | None = None
    for heading, body in case.sections:
        action, _, path = heading.partition(" ")
        file = rules / path.removeprefix("in ")
        match action:
            case "replace":
                replaced = (file, body)
            case "with":
                assert replaced is not None, "`with` follows `replace`"
                changed, old = replaced
                text = changed.read_text(encoding="utf-8")
                assert f"\n{text}".count(f"\n{old}\n") == 1, f"not exactly once in {changed.name}: {old}"
                new = f"\n{text}".replace(f"\n{old}\n", f"\n{body}\n" if body else "\n")[1:]
                changed.write_text(new, encoding="utf-8", newline="\n")
            case "add":
                file.parent.mkdir(parents=True, exist_ok=True)
                file.write_text(body + "\n", encoding="utf-8", newline="\n")
            case "escaped":
                file.parent.mkdir(parents=True, exist_ok=True)
                file.write_bytes(body.encode("ascii").decode("unicode_escape").encode("latin-1"))
            case "fill":
                file.write_bytes(b"#" * int(body))
            case "remove":
                file.unlink()
            case "rules":
                (rules / EDITION / "rules" / "many.yaml").write_text(many_rules(int(path)), encoding="utf-8")
            case "remarks":
                for number in range(int(path)):
                    (rules / EDITION / "rules" / f"remark-{number}.yaml").write_text("# Nothing.\n")
            case "local":
                copy_of_local_edition(rules, path)
            case _:
                assert heading == "says", heading


def diagnostics_of(rules: Path) -> str:
    """What loading everything in a rules folder says; empty when it loads."""
    try:
        RuleRepository(rules)
    except InvalidRuleFiles as error:
        return str(error)
    return ""
