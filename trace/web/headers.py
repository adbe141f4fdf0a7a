"""What every answer says to the browser: nothing from elsewhere, nothing inside foreign pages, nothing guessed."""

from __future__ import annotations

from flask import Flask, Response

POLICY = (
    "default-src 'self'; script-src 'self'; style-src 'self'; img-src 'self'; object-src 'none'; base-uri 'none'; "
    "form-action 'self'; frame-ancestors 'none'"
)


def secure_headers(app: Flask) -> None:
    @app.after_request
    def add(answer: Response) -> Response:
        if answer.mimetype != "application/pdf":  # a browser's own reader of PDF files counts as an object
            answer.headers["Content-Security-Policy"] = POLICY
        answer.headers["X-Content-Type-Options"] = "nosniff"
        answer.headers["X-Frame-Options"] = "DENY"
        answer.headers["Referrer-Policy"] = "same-origin"
        answer.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        answer.headers["Permissions-Policy"] = "camera=(), microphone=(), geolocation=()"
        if answer.mimetype == "text/html":
            answer.headers["Cache-Control"] = "no-cache"
        return answer
