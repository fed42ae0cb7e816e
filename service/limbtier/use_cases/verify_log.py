"""Verifies an exported log as `limbtier verify` does, and says in plain words what was found."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TextIO

from limbtier.audit.export_damage import Report
from limbtier.audit.signed_states import read_expected
from limbtier.audit.verify_export import verify_export
from limbtier.foundation.signed_note import read_verifier_key

CAUTION = (
    "This shows that the records are those that were made. It does not show that what was entered was true, "
    "nor that a decision was right: local policy and a licensed clinician decide."
)


def verify_log(folder: Path, checkpoint: Path, keys: Sequence[str], out: TextIO, status: TextIO) -> int:
    """Verify the export in a folder against the checkpoint that was kept, and print what was found.

    `keys` are verifier key texts from elsewhere. Progress goes to `status`. 0 when the export is whole, 1
    when it is damaged. Raises InvalidKey, InvalidNote and OSError when it cannot be verified at all.
    """
    given = [read_verifier_key(text) for text in keys]
    kept = read_expected(checkpoint).checkpoint.size
    report = verify_export(folder, checkpoint, given, _progress(status))
    if report.whole:
        out.write(f"Whole: {folder}\n{_counted(report.entries)}, all of them signed.\n")
        out.write(f"Your checkpoint covers {_counted(kept)}; what follows is signed by its key, ")
        out.write(f"or by one that it handed over to.\n{CAUTION}\n")
        return 0
    _write_damages(report, folder, out)
    return 1


def _write_damages(report: Report, folder: Path, out: TextIO) -> None:
    out.write(f"DAMAGED: {folder}\n{_counted(report.entries)} read. What is wrong:\n\n")
    out.writelines(f"{damage.code}: {damage}\n    {damage.meaning}\n" for damage in report.damages)
    out.writelines(f"{code}: and {count:,} more\n" for code, count in report.omitted.items())
    out.write("\nKeep this export as it is, and ask for another one. Do not rely on what it says.\n")


def _progress(status: TextIO) -> Callable[[int, float], None]:
    """Writes over its own line on a terminal; elsewhere a line for each tenth."""
    on_terminal = status.isatty()
    tenths = 0

    def tell(entries: int, part: float) -> None:
        nonlocal tenths
        text = f"verified {_counted(entries)}, {part:.0%} of all bytes"
        if on_terminal:
            status.write(f"\r{text}" + ("\n" if part >= 1 else ""))
            status.flush()
        elif int(part * 10) > tenths:
            tenths = int(part * 10)
            status.write(f"{text}\n")
            status.flush()

    return tell


def _counted(entries: int) -> str:
    return "1 entry" if entries == 1 else f"{entries:,} entries"
