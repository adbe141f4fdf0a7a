"""Which form a page answers: said in the page, so that its script never takes an answered form for one that was lost on the way."""

from __future__ import annotations

from flask import Flask, Response, request, session


def mark_answers(app: Flask) -> None:
    """Give the templates ``answered()``: the address the form was sent to that this page answers, directly or by a redirect; else nothing."""
    app.jinja_env.globals.update(answered=answered)

    @app.after_request
    def remember(answer: Response) -> Response:
        if request.method == "POST" and answer.status_code == 303 and not request.path.startswith("/api/"):
            session["answered"] = request.path
        return answer


def answered() -> str:
    """The path of the answered form. After a redirect it is said once."""
    return request.path if request.method == "POST" else str(session.pop("answered", ""))
