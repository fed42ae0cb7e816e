"""Requests generated from the description, good and bad, against the running service, with every check on.

schemathesis runs as a program: that is its documented use, and needs nothing of the test runner's inside.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

from tests.api.running import Server
from tests.api.service import CHECKOUT

HERE = Path(__file__).parent
PROGRAM = Path(sys.executable).with_name("schemathesis")


def test_no_generated_request_breaks_the_description(server: Server, tmp_path: Path) -> None:
    run = subprocess.run(
        [
            str(PROGRAM),
            "--config-file",
            str(HERE / "schemathesis.toml"),
            "run",
            f"{server.address}/openapi.json",
            "--no-color",
        ],
        cwd=tmp_path,
        env={
            **os.environ,
            "PYTHONPATH": str(CHECKOUT),
            "SCHEMATHESIS_HOOKS": "tests.api.schemathesis_checks",
            "LIMBTIER_KEY": server.service.keys.everything,
        },
        capture_output=True,
        text=True,
        timeout=400,
        check=False,
    )
    report = run.stdout + run.stderr
    assert run.returncode == 0, report
    tested = re.search(r"(\d+) generated, (\d+) passed", report)
    assert tested is not None, report
    assert int(tested[1]) > 1000
    assert tested[1] == tested[2]
    for phase in ("Coverage", "Fuzzing", "Stateful"):
        assert f"✅ {phase}" in report
