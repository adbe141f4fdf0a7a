"""The description of the API (OpenAPI 3.1), made from the verbs' models, the table of calls and the table of problems.

OpenAPI 3.1 speaks JSON Schema 2020-12, which the verbs' own schemas are; so they stand in it as they are.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Any

from pydantic import BaseModel

from fillbook import __version__
from fillbook.trace.web.api import problems, shapes
from fillbook.trace.web.api.calls import CALLS, LINES, Call, every_verb
from fillbook.trace.web.api.reading import REQUEST_ID, Envelope
from fillbook.trace.work import registry
from fillbook.trace.work.ask import schema

WRITING = (
    "unreadable",
    "no-token",
    "not-allowed",
    "stopped",
    "too-large",
    "wrong-media",
    "nonsense",
    "locked-out",
    "our-fault",
)
ABOUT = (
    "The shop's verbs and answers as JSON. Each device has a token with a role; nobody acts above that role through it, nor above "
    "their own. Nothing here reads cookies. What is refused changes nothing. Local codes, the supplier's data sheets and the makers' "
    "ratings come first, whatever an answer says."
)
REQUEST_HEADER = {
    "name": "Idempotency-Key", "in": "header", "required": True, "schema": {"type": "string", "pattern": f'^("{REQUEST_ID}"|{REQUEST_ID})$'},
    "description": "The request's own id, such as a UUID. Sent again with the same content it is answered again, and not done twice.",
}  # fmt: skip


@cache
def document() -> dict[str, Any]:
    """The whole description."""
    paths: dict[str, Any] = {}
    for one in CALLS:
        paths[_path(one)] = {"get": _reads(one)}
    for verb in every_verb():
        paths[f"/api/verbs/{verb.command}"] = {"post": _writes(verb)}
    paths["/api/openapi.json"] = {
        "get": {
            "operationId": "openapi", "summary": "This description", "x-role": "nobody", "security": [],
            "responses": {"200": {"description": "OpenAPI 3.1", "content": {"application/json": {"schema": {"type": "object"}}}}, "304": _SAME,
                          **_problems("nonsense", "our-fault")},
        }
    }  # fmt: skip
    return {
        "openapi": "3.1.0",
        "info": {"title": "fillbook", "version": __version__, "description": ABOUT},
        "servers": [{"url": "/"}],
        "security": [{"device": []}],
        "paths": paths,
        "components": {
            "securitySchemes": {"device": {"type": "http", "scheme": "bearer", "description": "A device's token, made on the page Devices"}},
            "schemas": _schemas(),
        },
    }  # fmt: skip


_SAME = {"description": "What the client keeps under this ETag still holds"}


def _path(one: Call) -> str:
    return "/api" + re.sub("<([a-z]+)>", r"{\1}", one.path)


def _reads(one: Call) -> dict[str, Any]:
    names = re.findall("<([a-z]+)>", one.path)
    content = {"application/json": {"schema": _ref(one.gives)}}
    if one.name == "events":
        content[LINES] = {"schema": {"type": "string"}}
    good: dict[str, Any] = {"description": one.words, "content": content}
    headers: dict[str, Any] = {}
    if any(param.name == "after" for param in one.params):
        headers["Link"] = {
            "description": "The next page (RFC 8288), where there is one",
            "schema": {"type": "string"},
        }
    if one.still:
        headers["ETag"] = {"description": "Changes when the answer may have", "schema": {"type": "string"}}
    if headers:
        good["headers"] = headers
    return {
        "operationId": one.name.rstrip("_"),
        "summary": one.words,
        "x-role": one.role,
        "parameters": [
            {"name": name, "in": "path", "required": True, "schema": {"type": "string", "minLength": 1}} for name in names
        ] + [
            {"name": param.name, "in": "query", "required": param.needed, "description": param.words, "schema": param.shape}
            for param in one.params
        ],
        "responses": {
            "200": good,
            **({"304": _SAME} if one.still else {}),
            **_problems("no-token", "nonsense", "locked-out", "our-fault", *(["not-found"] if names or one.name == "recall" else [])),
        },
    }  # fmt: skip


def _writes(verb: registry.Verb) -> dict[str, Any]:
    written = {"application/json": {"schema": _ref(shapes.Written)}}
    where = {"Location": {"description": "The event's address", "schema": {"type": "string"}}}
    return {
        "operationId": verb.command,
        "summary": verb.words,
        "description": f"For a {verb.role} or above" + (", with the signer's PIN." if verb.pin else "."),
        "tags": [verb.place],
        "x-role": verb.role,
        "x-pin": verb.pin,
        "parameters": [REQUEST_HEADER],
        "requestBody": {"required": True, "content": {"application/json": {"schema": _envelope(verb)}}},
        "responses": {
            "201": {"description": "Written down", "content": written, "headers": where},
            "200": {
                "description": "It was done before; the same answer",
                "content": written,
                "headers": where,
            },
            **_problems(*WRITING),
        },
    }


def _envelope(verb: registry.Verb) -> dict[str, Any]:
    """What stands around this verb's fields: the envelope's model, its ``fields`` made exact."""
    whole = Envelope.model_json_schema()
    return {
        "type": "object",
        "properties": {**{name: _plain(shape) for name, shape in whole["properties"].items()}, "fields": {"$ref": f"#/components/schemas/fields-{verb.command}"}},
        "required": ["who", *(["fields"] if _needs(schema(verb.ask)) else [])],
        "additionalProperties": False,
    }  # fmt: skip


def _needs(fields: dict[str, Any]) -> bool:
    return bool(fields["required"]) or any("oneOf" in rule for rule in fields.get("allOf", ()))


def _plain(shape: dict[str, Any]) -> dict[str, Any]:
    """A model's property without the titles a program makes up."""
    return {key: value for key, value in shape.items() if key != "title"}


def _problems(*names: str) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for name in names:
        status = str(problems.KINDS[name].status)
        titles = [kind.title for kind in problems.KINDS.values() if str(kind.status) == status]
        found[status] = {
            "description": "; ".join(titles),
            "content": {problems.MEDIA: {"schema": _ref(shapes.Problem)}},
        }
        if status == "401":
            found[status]["headers"] = {"WWW-Authenticate": {"schema": {"type": "string"}}}
        if status == "429":
            found[status]["headers"] = {
                "Retry-After": {"description": "Seconds to wait", "schema": {"type": "integer"}}
            }
    return found


def _ref(model: type[BaseModel]) -> dict[str, str]:
    return {"$ref": f"#/components/schemas/{model.__name__}"}


def _schemas() -> dict[str, Any]:
    found: dict[str, Any] = {}
    models: list[type[BaseModel]] = [shapes.Written, shapes.Problem, *(one.gives for one in CALLS)]
    for model in models:
        whole = model.model_json_schema(ref_template="#/components/schemas/{model}", mode="serialization")
        found |= whole.pop("$defs", {})
        found[model.__name__] = whole
    for verb in every_verb():
        found[f"fields-{verb.command}"] = {**schema(verb.ask), "description": verb.words}
    return found
