"""A body larger than the server takes at all gets a page of ours, and the browser has sent all of it by then.

RFC 9110, section 15.5.14: 413 Content Too Large; the server may close the connection. Section 10.1.1: who waits for 100 (Continue)
gets the answer instead.
"""

import contextlib
import json
import shutil
import socket
import threading

import pytest
from waitress.server import create_server

from fillbook.trace.web.app import create_app
from fillbook.trace.web.refusing import answer_in_words

LIMIT = 200_000  # bytes this server takes; some forty times less than in the shop, to be quick


@pytest.fixture
def server(story, clock, tmp_path):
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    app = create_app(path, clock=clock, secret="only for tests, so it may stand here")
    made = create_server(
        app, host="127.0.0.1", port=0, threads=2, ident="fillbook", max_request_body_size=LIMIT
    )
    answer_in_words(made, app)
    running = threading.Thread(target=_run, args=(made,), daemon=True)
    running.start()
    yield made.effective_port
    made.close()
    running.join(timeout=10)


def _run(server):
    with contextlib.suppress(OSError):  # closed under it
        server.run()


def send(port, path, size, *headers, body=True, method="POST"):
    """Send all of it as a browser does, then read: (status line, headers, body)."""
    with socket.create_connection(("127.0.0.1", port), timeout=20) as line:
        head = [
            f"{method} {path} HTTP/1.1",
            f"Host: 127.0.0.1:{port}",
            f"Content-Length: {size}",
            *headers,
            "",
            "",
        ]
        line.sendall("\r\n".join(head).encode())
        sent = 0
        while body and sent < size:
            sent += line.send(b"x" * min(65536, size - sent))
        answer = b""
        while part := line.recv(65536):
            answer += part
    said, _, rest = answer.partition(b"\r\n\r\n")
    lines = said.decode("latin-1").split("\r\n")
    return (
        lines[0],
        {name.lower(): value for name, _, value in (one.partition(": ") for one in lines[1:])},
        rest.decode(),
    )


def test_the_page_is_ours_and_comes_after_everything_was_sent(server):
    status, headers, page = send(
        server, "/zones/x/file", 20 * LIMIT, "Content-Type: multipart/form-data; boundary=x"
    )
    assert status == "HTTP/1.1 413 REQUEST ENTITY TOO LARGE" and headers["content-type"].startswith(
        "text/html"
    )
    assert (
        "Too large" in page and "larger than 24 MB" in page and "Split the file and send its parts." in page
    )
    assert "fillbook.css" in page and "Back to the floor" in page
    assert "default-src" in headers["content-security-policy"] and "set-cookie" not in headers


def test_it_is_said_in_the_readers_language(server):
    _, _, page = send(server, "/dock", 2 * LIMIT, "Accept-Language: es")
    assert 'lang="es"' in page and "24 MB" in page and "Too large" not in page


def test_a_program_gets_problem_details(server):
    status, headers, said = send(server, "/api/verbs/hold", 2 * LIMIT, "Content-Type: application/json")
    assert " 413 " in status and headers["content-type"] == "application/problem+json"
    assert json.loads(said)["status"] == 413


def test_who_asks_first_is_answered_at_once(server):
    status, _, page = send(server, "/dock", 2 * LIMIT, "Expect: 100-continue", body=False)
    assert " 413 " in status and "Too large" in page


def test_what_is_larger_than_anything_we_would_read_is_answered_at_once(server):
    status, _, page = send(server, "/dock", 5 * 1024**3, body=False)
    assert " 413 " in status and "Too large" in page


def test_a_body_without_a_length_that_runs_over_gets_the_page_too(server):
    with socket.create_connection(("127.0.0.1", server), timeout=20) as line:
        line.sendall(b"POST /dock HTTP/1.1\r\nHost: x\r\nTransfer-Encoding: chunked\r\n\r\n")
        part = b"8000\r\n" + b"x" * 0x8000 + b"\r\n"
        answer = b""
        try:
            for _ in range(LIMIT // 0x8000 + 2):
                line.sendall(part)
            while more := line.recv(65536):
                answer += more
        except OSError:
            pass  # the server closed while this was still sending
    assert not answer or b"Too large" in answer


def test_other_bad_requests_and_good_ones_go_on_as_before(server):
    status, headers, _ = send(server, "/", 0, "Connection: close", method="GET")
    assert " 200 " in status or " 303 " in status
    status, headers, _ = send(server, "/dock", 10, "Transfer-Encoding: gzip", body=False)
    assert status.startswith("HTTP/1.1 501") and headers["content-type"].startswith("text/plain")
