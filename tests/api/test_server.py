"""What only shows over a socket: HTTP that cannot be read, and bodies that never end."""

from __future__ import annotations

import socket

import orjson
import pytest

from tests.api.running import Server
from tests.api.service import invented
from tests.support.keys import KeysInMemory

START = (
    b"POST /v1/decisions HTTP/1.1\r\nHost: here\r\nContent-Type: application/json\r\n"
    b"Authorization: Bearer %s\r\n" % KeysInMemory().everything.encode()
)


def answer_to(server: Server, *pieces: bytes) -> tuple[bytes, bytes]:
    """Head and body of the answer, read until the server closes the connection."""
    received = b""
    with socket.create_connection(("127.0.0.1", server.port), timeout=30) as connection:
        try:
            for piece in pieces:
                connection.sendall(piece)
        except OSError:
            pass  # the server has closed while we were still sending
        try:
            while more := connection.recv(65_536):
                received += more
        except ConnectionResetError:
            pass  # it threw away what we had sent too much
    head, _, body = received.partition(b"\r\n\r\n")
    return head, body


@pytest.mark.parametrize(
    "request_text",
    [
        b"nonsense\r\n\r\n",
        b"GET /health/live HTTP/1.1\r\n\r\n",
        b"GET /health/live HTTP/1.1\r\nHost: here\r\nno colon\r\n\r\n",
        b"GET /health/live HTTP/1.1\r\nHost: here\r\n\x00: x\r\n\r\n",
        b"GET /health/\xff HTTP/1.1\r\nHost: here\r\n\r\n",
        b"GET  /health/live HTTP/1.1\r\nHost: here\r\n\r\n",
        START + b"Content-Length: many\r\n\r\n",
        START + b"Content-Length: 1\r\nContent-Length: 2\r\n\r\n{}",
        START + b"Transfer-Encoding: gzip\r\n\r\n{}",
    ],
    ids=repr,
)
def test_http_that_cannot_be_read_is_a_problem(server: Server, request_text: bytes) -> None:
    head, body = answer_to(server, request_text)
    assert head.split(b"\r\n")[0].split(b" ")[1] == b"400"
    assert b"content-type: application/problem+json" in head.lower()
    assert b"connection: close" in head.lower()
    assert orjson.loads(body)["type"] == "/problems/malformed-request"


def test_a_body_declared_too_long_is_refused_before_it_is_sent(server: Server) -> None:
    head, body = answer_to(server, START + b"Content-Length: 10000000\r\n\r\n")
    assert b" 413 " in head
    assert orjson.loads(body)["type"] == "/problems/body-too-large"


def test_a_body_that_grows_too_long_is_refused_and_the_connection_closed(server: Server) -> None:
    before = server.service.log.size
    # More than is allowed and less than a socket holds back, so that the answer is there to be read.
    pieces = [b"8000\r\n" + b" " * 0x8000 + b"\r\n"] * 3
    head, body = answer_to(server, START + b"Transfer-Encoding: chunked\r\n\r\n", *pieces)
    assert b" 413 " in head
    assert orjson.loads(body)["type"] == "/problems/body-too-large"
    assert server.service.log.size == before


def test_the_server_goes_on_after_a_caller_who_hangs_up(server: Server) -> None:
    before = server.service.log.size
    with socket.create_connection(("127.0.0.1", server.port), timeout=30) as connection:
        connection.sendall(START + b"Content-Length: 5000\r\n\r\n{")
    body = invented("first_contact.json")
    request = START + b"Connection: close\r\nContent-Length: %d\r\n\r\n" % len(body) + body
    head, answer = answer_to(server, request)
    assert b" 201 " in head
    assert orjson.loads(answer)["id"].encode() in head
    assert server.service.log.size == before + 1


def test_a_request_without_a_body_is_no_json(server: Server) -> None:
    head, body = answer_to(server, START + b"Connection: close\r\n\r\n")
    assert b" 400 " in head
    assert orjson.loads(body)["type"] == "/problems/not-json"
