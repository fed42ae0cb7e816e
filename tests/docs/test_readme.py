"""What README and DEVELOPERS say is true: commands run, the answer is the answer, names exist."""

from __future__ import annotations

import json
import os
import re
import shlex
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

from limbtier.cli import main
from limbtier.domain.caller import ROLES
from limbtier.foundation.errors import LimbtierError
from limbtier.foundation.settings import CHECKOUT
from limbtier.interop.bearer_tokens import LONGEST_LIFE_SECONDS
from limbtier.use_cases.authorise import LONGEST_UNREAD_SECONDS, REFRESH_SECONDS

README = (CHECKOUT / "README.md").read_text()
DEVELOPERS = (CHECKOUT / "DEVELOPERS.md").read_text()
MARKER = "limbtier-environment.json"


def commands(text: str) -> list[str]:
    """Every command of every shell block, continuation lines joined, remarks taken off."""
    blocks = re.findall(r"```sh\n(.*?)```", text, re.DOTALL)
    lines = "\n".join(blocks).replace("\\\n", " ").splitlines()
    return [line.split("  #")[0].split(" # ")[0].strip() for line in lines if line.strip()]


def json_after(marker: str) -> Any:
    block = README.split(f"<!-- example: {marker} -->")[1].split("```json\n")[1].split("```")[0]
    return json.loads(block)


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """README's first command, run as it stands; gives what it printed."""
    if not (Path(sys.prefix) / MARKER).exists():
        pytest.skip("runs where the bootstrap made the environment: python3 service/bootstrap.py tests")
    folder = tmp_path_factory.mktemp("demo")
    [command] = [line for line in commands(README) if line.endswith("bootstrap.py demo")]
    environment = {
        **os.environ,
        "LIMBTIER_VENV": sys.prefix,
        "LIMBTIER_DATABASE": str(folder / "decisions.sqlite3"),
    }
    output = (folder / "output").open("w+")
    process = subprocess.Popen(
        shlex.split(command),
        cwd=CHECKOUT,
        env=environment,
        stdout=output,
        stderr=output,
        start_new_session=True,
    )
    text = ""
    try:
        for _ in range(600):
            text = Path(output.name).read_text()
            if "until you press Ctrl-C" in text or process.poll() is not None:
                break
            time.sleep(0.1)
        assert "until you press Ctrl-C" in text, text
        for _ in range(100):
            with suppress(OSError), urlopen("http://127.0.0.1:8470/health/live"):
                break
            time.sleep(0.1)
        yield text
    finally:
        os.killpg(process.pid, signal.SIGTERM)  # the command and the service that it started
        process.wait()
        output.close()


def test_the_demo_shows_a_first_decision_and_a_request_that_the_running_service_answers(served: str) -> None:
    for words in ("Held there by", "Step-up plan", "Review", "Why", "CAUTION", "invented"):
        assert words in served
    pasted = served.partition("another terminal in this folder:")[2].partition("The API is described")[0]
    answer = subprocess.run(["sh", "-c", pasted], cwd=CHECKOUT, capture_output=True, check=True).stdout
    assert json.loads(answer)["limbs"]["left"]["tier"] == "mild"
    assert json.loads(answer)["id"]


def test_the_request_in_the_readme_gives_the_answer_in_the_readme(served: str) -> None:
    [command] = [line for line in commands(README) if line.startswith("curl")]
    [setting] = re.findall(r"export (LIMBTIER_KEY)=(\S+)", served)
    answer = subprocess.run(
        ["sh", "-c", command],
        cwd=CHECKOUT,
        env={**os.environ, **dict([setting])},
        capture_output=True,
        check=True,
    ).stdout
    shown = json_after("answer")
    assert shown
    assert differences(shown, json.loads(answer)) == []


def differences(shown: Any, given: Any, at: str = "") -> list[str]:
    """Where what is shown is not part of what is given; in lists, the first entries are shown."""
    if isinstance(shown, dict):
        return [
            found
            for key, value in shown.items()
            for found in (differences(value, given[key], f"{at}/{key}") if key in given else [f"{at}/{key}"])
        ]
    if isinstance(shown, list):
        if len(shown) > len(given):
            return [at]
        return [
            found
            for place, value in enumerate(shown)
            for found in differences(value, given[place], f"{at}/{place}")
        ]
    return [] if shown == given else [f"{at}: {shown} is {given}"]


@pytest.fixture
def beside_a_log(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A folder with what the commands name, and a log with an entry and a checkpoint that was exported."""
    for name in ("demo_data", "rules"):
        (tmp_path / name).symlink_to(CHECKOUT / name)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("LIMBTIER_DATABASE", str(tmp_path / "log.sqlite3"))
    assert main(["keys", "add", "--role", "auditor", "--organisation", "quillerbeck"]) == 0


@pytest.mark.usefixtures("beside_a_log")
@pytest.mark.parametrize(
    "command", [line for line in commands(README) if line.startswith(".venv/bin/limbtier")]
)
def test_each_command_of_the_command_line_runs(command: str, capsys: pytest.CaptureFixture[str]) -> None:
    if command.startswith(".venv/bin/limbtier verify"):
        assert main(["export", "log_export"]) == 0
    capsys.readouterr()
    assert main(shlex.split(command)[1:]) == 0
    assert capsys.readouterr().out


@pytest.mark.parametrize("command", ["impact", "compare"])
@pytest.mark.usefixtures("beside_a_log")
def test_the_output_that_the_readme_shows_is_the_output(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    [line] = [one for one in commands(README) if one.startswith(f".venv/bin/limbtier {command} ")]
    shown = README.split(f"<!-- output: {command} -->")[1].split("```\n")[1].split("```")[0]
    capsys.readouterr()
    assert main(shlex.split(line)[1:]) == 0
    printed = capsys.readouterr().out
    assert printed.startswith(shown) if command == "impact" else printed.endswith(shown)


def test_every_command_of_both_pages_is_one_that_is_tested_or_of_a_known_kind() -> None:
    known = (
        "python3 service/bootstrap.py demo",
        "python3 service/bootstrap.py tests",
        ".venv/bin/limbtier ",
        ".venv/bin/python -m tests.benchmarks.",
        "curl ",
    )
    for command in [*commands(README), *commands(DEVELOPERS)]:
        assert command.startswith(known), command
    for command in commands(DEVELOPERS):
        if command.startswith(".venv/bin/limbtier"):
            with pytest.raises(SystemExit) as left:
                main([*shlex.split(command)[1:], "--help"])
            assert left.value.code == 0


def test_every_setting_is_documented() -> None:
    source = (CHECKOUT / "service" / "limbtier" / "foundation" / "settings.py").read_text()
    for name in set(re.findall(r"LIMBTIER_[A-Z_]+", source)):
        assert f"`{name}`" in README, name


def test_the_readme_opens_with_the_job_and_names_the_two_commands_and_the_limits() -> None:
    paragraphs = README.split("\n\n")
    assert paragraphs[0] == "# limbtier"
    assert "compression" in paragraphs[1]
    assert "review" in README
    for words in ("awaits clinical sign-off", "local policy", "3.13"):
        assert words in README


def test_the_roles_and_limits_of_keys_and_tokens_are_as_the_readme_says() -> None:
    for role, scopes in ROLES.items():
        [row] = re.findall(rf"^\| `{role}` \| (.*?) \|", README, re.MULTILINE)
        assert set(re.findall(r"`(\w+)`", row)) == scopes
    assert f"within {REFRESH_SECONDS:g} seconds" in README
    assert f"for {LONGEST_UNREAD_SECONDS / 60:g} minutes" in README
    assert f"at most {LONGEST_LIFE_SECONDS / 3600:g} hours ahead" in README


def test_every_word_of_a_record_that_is_a_term_of_our_own_stands_in_the_glossary() -> None:
    glossary = README.split("## Words")[1]
    for word in (
        "disposition",
        "tier",
        "review",
        "limit",
        "step-up plan",
        "trace",
        "arrangement",
        "guard rail",
    ):
        assert f"| {word} |" in glossary


def test_every_file_and_folder_that_the_pages_link_or_map_exists() -> None:
    for text in (README, DEVELOPERS):
        for target in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (CHECKOUT / target).exists(), target


def test_every_error_class_has_a_code_of_its_own() -> None:
    classes = set(LimbtierError.__subclasses__())
    assert len({entry.code for entry in classes}) == len(classes)
