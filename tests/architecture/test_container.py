"""The files that make and run containers, read as what they are; nothing is built here."""

from __future__ import annotations

import json
import re
import shlex
from typing import Any

import pytest
import yaml

from limbtier.cli import main
from limbtier.foundation.settings import CHECKOUT

CONTAINERFILE = CHECKOUT / "service" / "Containerfile"
COMPOSE = CHECKOUT / "service" / "compose.yaml"
SETTINGS = (CHECKOUT / "service" / "limbtier" / "foundation" / "settings.py").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def steps() -> list[tuple[str, str]]:
    """Instructions of the Containerfile with what they say, in their order."""
    lines = [line for line in CONTAINERFILE.read_text(encoding="utf-8").splitlines() if line[:1] != "#"]
    joined = "\n".join(lines).replace("\\\n", " ")
    found = []
    for line in joined.splitlines():
        if line.strip():
            name, _, rest = line.partition(" ")
            found.append((name, rest.strip()))
    return found


@pytest.fixture(scope="module")
def compose() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load(COMPOSE.read_text(encoding="utf-8"))
    return found


def said(steps: list[tuple[str, str]], name: str) -> list[str]:
    return [rest for step, rest in steps if step == name]


def test_only_known_instructions_stand_there_and_it_begins_with_a_version(
    steps: list[tuple[str, str]],
) -> None:
    known = {
        "FROM",
        "COPY",
        "RUN",
        "USER",
        "WORKDIR",
        "ENV",
        "VOLUME",
        "EXPOSE",
        "STOPSIGNAL",
        "HEALTHCHECK",
        "ENTRYPOINT",
        "CMD",
    }
    assert {name for name, _ in steps} <= known
    (image,) = said(steps, "FROM")
    assert re.search(r":3\.1[0-9]", image)
    assert not image.endswith(":latest")


def test_everything_copied_is_there(steps: list[tuple[str, str]]) -> None:
    for copied in said(steps, "COPY"):
        for source in shlex.split(copied)[:-1]:
            assert (CHECKOUT / source).exists(), source


def test_what_is_installed_is_pinned_with_hashes(steps: list[tuple[str, str]]) -> None:
    (installing,) = [run for run in said(steps, "RUN") if "pip install" in run]
    for one in installing.split("pip install")[1:]:
        assert "--require-hashes" in one
    pinned = (CHECKOUT / "requirements-test.txt").read_text(encoding="utf-8")
    driver = (CHECKOUT / "requirements-postgresql.txt").read_text(encoding="utf-8")
    for pin in re.findall(r"^[a-z0-9-]+==\S+", driver, re.MULTILINE):
        assert f"\n{pin} " in pinned, pin


def test_it_runs_as_nobody_and_stops_when_it_is_asked_to(steps: list[tuple[str, str]]) -> None:
    (user,) = said(steps, "USER")
    assert int(user) > 0
    assert said(steps, "STOPSIGNAL") == ["SIGTERM"]
    names = [name for name, _ in steps]
    assert names.index("USER") > max(place for place, name in enumerate(names) if name == "RUN")


def test_what_it_starts_is_a_command_and_a_process_of_its_own(steps: list[tuple[str, str]]) -> None:
    entry = json.loads(said(steps, "ENTRYPOINT")[0])
    arguments = json.loads(said(steps, "CMD")[0])
    assert entry[-2:] == ["-m", "limbtier.cli"]
    with pytest.raises(SystemExit) as left:
        main([*arguments, "--help"])
    assert left.value.code == 0


def test_every_setting_is_one_that_the_service_reads(
    steps: list[tuple[str, str]], compose: dict[str, Any]
) -> None:
    named = set(re.findall("LIMBTIER_[A-Z_]+", " ".join(said(steps, "ENV"))))
    named |= set(compose["services"]["limbtier"]["environment"])
    assert named
    for name in named:
        assert f'"{name}"' in SETTINGS, name


def test_no_password_stands_in_a_file_and_nothing_listens_to_the_outside(compose: dict[str, Any]) -> None:
    for service in compose["services"].values():
        for name, value in service["environment"].items():
            if "PASSWORD" in name or "://" in value:
                assert "${LIMBTIER_POSTGRES_PASSWORD:?" in value, name
        for port in service.get("ports", ()):
            assert port.startswith("127.0.0.1:"), port
        for volume in service["volumes"]:
            assert volume.split(":")[0] in compose["volumes"], volume


def test_the_service_waits_for_the_database_and_is_built_from_the_containerfile(
    compose: dict[str, Any],
) -> None:
    service = compose["services"]["limbtier"]
    assert service["depends_on"]["database"]["condition"] == "service_healthy"
    assert (COMPOSE.parent / service["build"]["context"]).resolve() == CHECKOUT
    assert CHECKOUT / service["build"]["dockerfile"] == CONTAINERFILE
