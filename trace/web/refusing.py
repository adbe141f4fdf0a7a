"""What the server refuses before the pages see it, in the pages' own words: a body larger than it takes at all.

A browser shows no answer to a form it is still sending, so what is too large is read to its end and thrown away, up to a bound; then
the page says what to do. What is larger still, or announces itself first, is answered at once.
"""

from __future__ import annotations

from typing import Any

from flask import Flask
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser
from waitress.task import ErrorTask
from waitress.utilities import RequestEntityTooLarge

from fillbook.trace.web import trouble
from fillbook.trace.web.api import problems
from fillbook.trace.web.zones import readings

MOST_THROWN_AWAY = 2 * 1024**3  # bytes


class Parser(HTTPRequestParser):  # type: ignore[misc]
    """Reads what is too large to its end without keeping it."""

    left = 0

    def received(self, data: bytes) -> int:
        if self.left:
            taken = min(len(data), self.left)
            self.left -= taken
            self.completed = not self.left
            return taken
        taken = super().received(data)
        if self.completed and isinstance(self.error, RequestEntityTooLarge) and self.body_bytes_received == 0:
            # It is not told to go on, but that it is too large
            waits, self.expect_continue = self.expect_continue, False
            if not waits and self.content_length <= MOST_THROWN_AWAY:
                self.left, self.completed = self.content_length, False
        return int(taken)


class Refusal(ErrorTask):  # type: ignore[misc]
    """Answers with a page of ours where it is too large; anything else is no form of a browser, and stays the server's plain words."""

    def execute(self) -> None:
        if not isinstance(self.request.error, RequestEntityTooLarge):
            super().execute()
            return
        self.status, headers, body = page_of(self.channel.server.pages, self.request)
        self.response_headers.extend(headers)
        self.set_close_on_finish()
        self.content_length = len(body)
        self.write(b"" if self.request.command == "HEAD" else body)


class Channel(HTTPChannel):  # type: ignore[misc]
    parser_class = Parser
    error_task_class = Refusal


def page_of(app: Flask, asked: Any) -> tuple[str, list[tuple[str, str]], bytes]:
    """Status line, headers and body of the page for the request *asked*, in its reader's language."""
    kept = {"Accept-Language": "ACCEPT_LANGUAGE", "Cookie": "COOKIE", "Host": "HOST"}
    headers = {name: asked.headers[key] for name, key in kept.items() if key in asked.headers}
    path = asked.path if asked.path.startswith("/") and not asked.path.startswith("//") else "/"
    with app.test_request_context(path, headers=headers):
        if path.startswith("/api/"):
            answer = problems.problem("too-large", "What was sent is larger than 24 MB. Send it in parts.")
        elif path.startswith("/readings/"):
            answer = readings.problem(413, readings.TOO_LARGE)
        else:
            answer = app.make_response(trouble.page(trouble.SENTENCES[413], 413))
        answer = app.process_response(answer)
        unfit = ("content-length", "connection", "set-cookie")
        return answer.status, [(k, v) for k, v in answer.headers if k.lower() not in unfit], answer.get_data()


def answer_in_words(server: Any, app: Flask) -> None:
    """Let *server* (of waitress, not yet running) answer what is too large with a page of *app*."""
    server.pages, server.channel_class = app, Channel
