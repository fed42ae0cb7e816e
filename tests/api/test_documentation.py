"""The page that describes the API needs no internet and runs under a strict policy."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.api.running import Server
from tests.api.service import Service, problem_of

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def test_the_page_and_all_it_needs_come_from_the_service(shared_service: Service) -> None:
    page = shared_service.client.get("/docs")
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    assert "//" not in page.text.replace("<!DOCTYPE html>", "")
    needed = re.findall(r'(?:src|href)="([^"]+)"', page.text)
    assert len(needed) == 5
    for name in needed:
        assert shared_service.client.get(f"/{name}").status_code == 200


def test_no_script_stands_in_the_page_and_no_other_origin_is_allowed(shared_service: Service) -> None:
    page = shared_service.client.get("/docs")
    assert re.findall(r"<script[^>]*>([^<]*)</script>", page.text) == ["", ""]
    policy = page.headers["content-security-policy"]
    assert policy.startswith("default-src 'none'; script-src 'self'; style-src 'self'; ")
    assert "http" not in policy
    start = shared_service.client.get("/docs/start.js").text
    assert 'url: "openapi.json"' in start
    assert "validatorUrl: null" in start


def test_a_file_the_page_does_not_need_is_not_found(shared_service: Service) -> None:
    for name in ("secrets.txt", "..%2Fapp.py", "page.js.map"):
        answer = shared_service.client.get(f"/docs/{name}")
        assert problem_of(answer, answer.json()["type"].removeprefix("/problems/"), 404)


@pytest.mark.skipif(CHROMIUM is None, reason="needs chromium to show the page, and it is not installed")
def test_a_browser_shows_every_operation_and_reports_no_breach(server: Server, tmp_path: Path) -> None:
    shown = subprocess.run(
        [
            str(CHROMIUM),
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            f"--user-data-dir={tmp_path}",
            "--enable-logging=stderr",
            "--virtual-time-budget=20000",
            "--dump-dom",
            f"{server.address}/docs",
        ],
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    for operation in ("previewDecision", "makeDecision", "readDecision", "readVocabulary", "showProblem"):
        assert f"/{operation}" in shown.stdout
    assert "Refused to" not in shown.stderr
    assert "Content Security Policy" not in shown.stderr
