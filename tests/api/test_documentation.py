"""The pages about the API need no internet and run under strict policies."""

from __future__ import annotations

import hashlib
import re
import shutil
import subprocess
from base64 import b64encode
from html import unescape
from pathlib import Path

import pytest

from limbtier.api.integrators_page import SOURCE, integrators_page, page_of
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


def test_the_page_for_integrators_needs_no_script_and_nothing_from_elsewhere(shared_service: Service) -> None:
    page = shared_service.client.get("/docs/integrators", headers={"Authorization": ""})
    assert page.status_code == 200
    assert page.headers["content-type"] == "text/html; charset=utf-8"
    assert re.findall(r"<(?:script|img|link|iframe|form)\b| (?:src|style|on\w+)=", page.text) == []
    for target in re.findall(r'href="([^"]+)"', page.text):
        place, _, anchor = target.partition("#")
        assert not anchor or f'id="{anchor}"' in page.text
        assert not place or shared_service.client.get(f"/docs/{place}").status_code == 200
    (style,) = re.findall(r"<style>(.*?)</style>", page.text, re.DOTALL)
    digest = b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"style-src 'sha256-{digest}'" in page.headers["content-security-policy"]
    assert page.headers["content-security-policy"].startswith("default-src 'none'; ")


def test_every_example_stands_on_the_page_as_it_stands_in_its_source(shared_service: Service) -> None:
    page = shared_service.client.get("/docs/integrators").text
    shown = [unescape(one) for one in re.findall(r"<pre[^>]*><code>(.*?)</code></pre>", page, re.DOTALL)]
    written = re.findall(r"^```\w+\n(.*?)^```", SOURCE.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)
    assert len(written) > 10
    assert shown == written


def test_html_in_a_source_is_shown_and_not_obeyed() -> None:
    page = page_of("# A <b>title</b>\n\n> note\n\n## One & two\n\n<script>1</script> [bad](javascript:1)\n")
    assert "<script" not in page
    assert "<b>" not in page
    assert 'href="javascript' not in page
    assert '<h2 id="one-two">One &amp; two</h2>' in page


def test_a_service_without_the_source_says_so(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, shared_service: Service
) -> None:
    integrators_page.cache_clear()
    monkeypatch.setattr("limbtier.api.integrators_page.SOURCE", tmp_path / "absent.md")
    answer = shared_service.client.get("/docs/integrators")
    assert problem_of(answer, "not-found", 404) == [("unknown-route", None)]


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
