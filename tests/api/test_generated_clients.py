"""Clients that are generated from the description speak with the service: decide, preview, read back, and see
what is wrong.

Python by openapi-python-client; TypeScript by openapi-typescript, compiled strictly and run. They are made
anew in a folder of the test and kept nowhere.
"""

from __future__ import annotations

import importlib
import json
import os
import shutil
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
NODE_PACKAGES = ("openapi-typescript@7.13.0", "openapi-fetch@0.17.0", "typescript@5.9.3")
PACKAGE = "generated_limbtier_client"
TYPESCRIPT = """\
import createClient from "openapi-fetch";
import type { components, paths } from "./schema.js";

declare const process: { argv: string[] };
const [, , baseUrl, token, contact] = process.argv;
const client = createClient<paths>({ baseUrl, headers: { Authorization: `Bearer ${token}` } });
const body: components["schemas"]["AssessmentRequest"] = JSON.parse(contact);

const preview = await client.POST("/v1/previews", { body, params: { query: { next_questions: "true" } } });
const made = await client.POST("/v1/decisions", { body });
if (made.data === undefined || preview.data === undefined) throw new Error("nothing was decided");
const again = await client.GET("/v1/decisions/{decision_id}", {
  params: { path: { decision_id: made.data.id } },
});
const refused = await client.POST("/v1/previews", { body: { ...body, calendar: "nowhere" as "england" } });
const problem: components["schemas"]["Problem"] | undefined = refused.error;
console.log(
  JSON.stringify({
    tier: made.data.limbs.left?.tier,
    previewed: preview.data.limbs.left?.tier,
    open: preview.data.next_questions?.questions.length,
    same: JSON.stringify(made.data) === JSON.stringify(again.data),
    type: problem?.type,
    pointers: problem?.errors.map((one) => one.pointer),
  }),
);
"""


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


def test_a_typescript_client_decides_previews_reads_back_and_reads_what_is_wrong(
    server: Server, tmp_path: Path
) -> None:
    for program in ("node", "npm"):
        if shutil.which(program) is None:
            pytest.skip(f"a TypeScript client is made with Node, and there is no `{program}` here")
    installed = run(tmp_path, "npm", "install", "--no-audit", "--no-fund", *NODE_PACKAGES)
    if installed.returncode != 0:
        pytest.skip(f"npm cannot install {', '.join(NODE_PACKAGES)} here: {installed.stderr[-200:]}")
    (tmp_path / "client.mts").write_text(TYPESCRIPT, encoding="utf-8")
    options = "--strict --target es2022 --module nodenext --skipLibCheck --lib es2022,dom client.mts"
    steps = (
        ("openapi-typescript", str(DESCRIPTION), "-o", "schema.d.ts"),
        ("tsc", *options.split()),
    )
    for program, *arguments in steps:
        done = run(tmp_path, str(tmp_path / "node_modules" / ".bin" / program), *arguments)
        assert done.returncode == 0, done.stdout + done.stderr
    token = server.service.keys.everything
    told = run(tmp_path, "node", "client.mjs", server.address, token, json.dumps(CONTACT))
    assert told.returncode == 0, told.stderr
    assert json.loads(told.stdout) == {
        "tier": "mild",
        "previewed": "mild",
        "open": 0,
        "same": True,
        "type": "/problems/invalid-assessment",
        "pointers": ["#/calendar"],
    }


def run(folder: Path, *command: str) -> subprocess.CompletedProcess[str]:
    """A program run in the folder of the test."""
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False, timeout=300)
