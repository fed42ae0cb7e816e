"""`limbtier verify` says in plain words whether an export is whole, and its exit code says so too."""

from __future__ import annotations

from pathlib import Path

import pytest

from limbtier.cli import main
from tests.audit.small_log import KEY

TAMPERED = Path(__file__).resolve().parents[1] / "audit" / "tampered"
KEPT = str(TAMPERED / "kept" / "at_7")


def test_a_whole_export_gives_0_and_says_what_that_shows(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["verify", str(TAMPERED / "whole"), "--checkpoint", KEPT]) == 0
    shown = capsys.readouterr()
    assert shown.out.startswith("Whole: ")
    assert "10 entries, all of them signed." in shown.out
    assert "Your checkpoint covers 7 entries" in shown.out
    assert "local policy and a licensed clinician decide" in shown.out
    assert shown.err == "verified 10 entries, 100% of all bytes\n"


def test_a_damaged_export_gives_1_and_names_the_entry_the_damage_and_what_it_means(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["verify", str(TAMPERED / "changed_byte"), "--checkpoint", KEPT]) == 1
    out = capsys.readouterr().out
    assert out.startswith("DAMAGED: ")
    assert (
        "entry-changed: entries/000000000000.jsonl, line 4: The entry does not have the leaf hash that was "
        "recorded. (entry: position 3, id decision-3)\n    The entry is not what was recorded.\n"
    ) in out
    assert "history-rewritten: the expected checkpoint: " in out


def test_a_key_from_elsewhere_can_be_given(capsys: pytest.CaptureFixture[str]) -> None:
    arguments = ["verify", str(TAMPERED / "replaced_key"), "--checkpoint", KEPT]
    assert main([*arguments, "--key", str(KEY.verifier)]) == 1
    assert "signer-not-vouched" in capsys.readouterr().out


def test_without_a_checkpoint_nothing_is_verified(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as caught:
        main(["verify", str(TAMPERED / "whole")])
    assert caught.value.code == 2
    assert "--checkpoint" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("export", "checkpoint", "more", "message"),
    [
        ("absent", "kept/at_7", [], "absent"),
        ("expected.toml", "kept/at_7", [], "expected.toml"),
        ("whole", "kept/absent", [], "absent"),
        ("whole", "kept", [], "kept"),
        ("whole", "expected.toml", [], "The file holds no checkpoint"),
        ("whole", "kept/at_7", ["--key", "nonsense"], "A key is NAME+ID+BASE64"),
    ],
)
def test_what_cannot_be_read_gives_2_and_no_verdict(
    export: str, checkpoint: str, more: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["verify", str(TAMPERED / export), "--checkpoint", str(TAMPERED / checkpoint), *more]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert message in shown.err
    assert "Traceback" not in shown.err
