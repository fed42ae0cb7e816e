"""A Python client that is generated from the description speaks with the service: it decides, previews, reads
back, and sees what is wrong.

It is made anew by openapi-python-client in a folder of the test and kept nowhere. One in TypeScript is made
and run where the examples of the page for integrators are.
"""

from __future__ import annotations

import importlib
import json
import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from tests.api.running import Server
from tests.api.service import CHECKOUT, invented

DESCRIPTION = CHECKOUT / "openapi" / "openapi.json"
CONTACT = json.loads(invented("first_contact.json"))
PACKAGE = "generated_limbtier_client"


@pytest.fixture(scope="module")
def python_client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[SimpleNamespace]:
    """The generated package, and its functions of the tag `decisions`."""
    folder = tmp_path_factory.mktemp("python")
    beside = Path(sys.executable).parent
    made = subprocess.run(
        [
            str(beside / "openapi-python-client"),
            *(
                "generate",
                "--meta",
                "none",
                "--path",
                str(DESCRIPTION),
                "--output-path",
                str(folder / PACKAGE),
            ),
        ],
        # It formats what it wrote by ruff, which it looks for by name.
        env={**os.environ, "PATH": f"{beside}{os.pathsep}{os.environ['PATH']}"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert made.returncode == 0, made.stdout + made.stderr
    assert "warning" not in (made.stdout + made.stderr).lower(), made.stdout + made.stderr
    sys.path.insert(0, str(folder))
    try:
        decisions = f"{PACKAGE}.api.decisions"
        yield SimpleNamespace(
            package=importlib.import_module(PACKAGE),
            models=importlib.import_module(f"{PACKAGE}.models"),
            make=importlib.import_module(f"{decisions}.make_decision"),
            preview=importlib.import_module(f"{decisions}.preview_decision"),
            read=importlib.import_module(f"{decisions}.read_decision"),
        )
    finally:
        sys.path.remove(str(folder))


def test_a_python_client_decides_previews_and_reads_back(
    server: Server, python_client: SimpleNamespace
) -> None:
    models: Any = python_client.models
    body = models.AssessmentRequest.from_dict(CONTACT)
    assert body.to_dict() == CONTACT
    with connected(python_client, server, server.service.keys.everything) as client:
        made = python_client.make.sync(client=client, body=body, idempotency_key='"generated-client-1"')
        assert isinstance(made, models.StoredDecision)
        assert made.limbs.left.tier.value == "mild"
        assert python_client.read.sync(client=client, decision_id=made.id) == made
        preview = python_client.preview.sync(
            client=client, body=body, next_questions=models.PreviewDecisionNextQuestions.TRUE
        )
    assert preview.limbs.left.tier == made.limbs.left.tier
    assert preview.next_questions.questions == []


def test_a_python_client_reads_what_is_wrong(server: Server, python_client: SimpleNamespace) -> None:
    body = python_client.models.AssessmentRequest.from_dict(CONTACT)
    body.limbs.left.pain_score = 99
    with connected(python_client, server, server.service.keys.everything) as client:
        refused = python_client.preview.sync_detailed(client=client, body=body)
    assert refused.status_code == 422
    assert refused.parsed.type_.value == "/problems/invalid-assessment"
    assert [(one.code.value, one.pointer) for one in refused.parsed.errors] == [
        ("out-of-range", "#/limbs/left/pain_score")
    ]
    with connected(python_client, server, "nobody") as stranger:
        assert python_client.preview.sync_detailed(client=stranger, body=body).status_code == 401


def connected(python_client: SimpleNamespace, server: Server, token: str) -> Any:
    """A client that closes its connections at the end of the block."""
    return python_client.package.AuthenticatedClient(base_url=server.address, token=token)
