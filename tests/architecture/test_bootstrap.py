"""The command that sets the environment up, and the pinned requirements that it installs."""

import ast
import re
import sys
from pathlib import Path

import pytest

import bootstrap

CHECKOUT = Path(__file__).resolve().parents[2]


def pins_of(name: str) -> dict[str, str]:
    text = (CHECKOUT / name).read_text(encoding="utf-8")
    return dict(re.findall(r"^([a-z0-9._-]+)==(\S+)", text, flags=re.MULTILINE))


@pytest.mark.parametrize("name", sorted(bootstrap.REQUIREMENTS.values()))
def test_each_requirement_is_pinned_with_hashes_and_names_no_address(name: str) -> None:
    text = (CHECKOUT / name).read_text(encoding="utf-8")
    entries = [line for line in text.splitlines() if line and not line.startswith((" ", "#"))]
    assert entries
    assert len(entries) == len(pins_of(name))
    for entry in entries:
        assert "--hash=sha256:" in bootstrap.pin_of(entry.partition("==")[0], str(CHECKOUT / name))
    assert "://" not in text
    assert "-index" not in re.sub(r"--no-emit-index-url", "", text)


def test_the_tests_run_on_the_versions_that_the_service_runs_on() -> None:
    service, tests = (pins_of(name) for name in ("requirements.txt", "requirements-test.txt"))
    assert {name: tests.get(name) for name in service} == service


def test_the_command_is_readable_by_old_interpreters() -> None:
    source = Path(bootstrap.__file__).read_text(encoding="utf-8")
    assert ast.parse(source, feature_version=(3, 6)).body


def test_the_command_needs_the_standard_library_only() -> None:
    tree = ast.parse(Path(bootstrap.__file__).read_text(encoding="utf-8"))
    imported = {
        alias.name for node in ast.walk(tree) if isinstance(node, ast.Import) for alias in node.names
    } | {str(node.module) for node in ast.walk(tree) if isinstance(node, ast.ImportFrom)}
    assert imported <= sys.stdlib_module_names


def test_a_folder_that_it_did_not_make_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / "keep.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(bootstrap.SetUpError, match="left as it is"):
        bootstrap.installed_in(str(tmp_path))


def test_an_absent_folder_holds_nothing(tmp_path: Path) -> None:
    assert bootstrap.installed_in(str(tmp_path / "absent")) == {}


@pytest.mark.parametrize("text", ["", "{", "[1]", "null"])
def test_a_spoilt_marker_means_that_nothing_is_held(tmp_path: Path, text: str) -> None:
    (tmp_path / bootstrap.MARKER).write_text(text, encoding="utf-8")
    assert bootstrap.installed_in(str(tmp_path)) == {}


def test_what_is_noted_is_read_back(tmp_path: Path) -> None:
    bootstrap.write_marker(str(tmp_path), {"demo": "abc"})
    assert bootstrap.installed_in(str(tmp_path)) == {"demo": "abc"}


def test_a_missing_compiler_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CC", "no-such-compiler -O2")
    with pytest.raises(bootstrap.SetUpError, match="'no-such-compiler -O2' was not found"):
        bootstrap.check_compiler(sys.executable)


@pytest.mark.parametrize("version", [(3, 10), (3, 13)])
def test_an_unfit_interpreter_is_told_which_versions_work_and_why(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, version: tuple[int, int]
) -> None:
    monkeypatch.setattr(sys, "version_info", (*version, 0, "final", 0))
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(bootstrap.SetUpError, match=r"needs CPython 3\.11 or 3\.12.*Why: durable-rules"):
        bootstrap.fitting_interpreter()


def test_a_program_that_does_not_run_has_no_version(tmp_path: Path) -> None:
    assert bootstrap.version_of(str(tmp_path / "python3.12")) == ()
    assert bootstrap.version_of(sys.executable) == sys.version_info[:2]
