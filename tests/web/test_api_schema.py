"""The description of the API and the API itself say the same: held by a validator, by every answer on a filled book, and by schemathesis.

jsonschema is the reference implementation of JSON Schema 2020-12 for Python, on which OpenAPI 3.1 stands. schemathesis makes requests
from the description, right ones and wrong ones, and compares each answer with it.
"""

import copy
import json
import re
import warnings

import jsonschema
import pytest
from hypothesis import HealthCheck, Phase, given, settings

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # its own libraries' warnings at import are not ours
    import schemathesis
    from schemathesis import GenerationMode
    from schemathesis.checks import not_a_server_error
    from schemathesis.specs.openapi.checks import (
        content_type_conformance,
        ignored_auth,
        missing_required_header,
        negative_data_rejection,
        response_headers_conformance,
        response_schema_conformance,
        status_code_conformance,
        unsupported_method,
    )

from fillbook.trace.book import chain
from fillbook.trace.core import ids
from fillbook.trace.web.api import calls, openapi, problems, reading, shapes
from fillbook.trace.work import acting, devices, registry

DOCUMENT = openapi.document()


def inlined(schema, document):
    """A schema with the components it refers to beside it, for a plain JSON Schema validator."""
    whole = copy.deepcopy({**schema, "components": document["components"]})
    return whole


def holds(value, schema, document=DOCUMENT):
    jsonschema.Draft202012Validator(inlined(schema, document)).validate(value)


# -- the description ---------------------------------------------------------------------------------------------------------------
def every_schema(part):
    if isinstance(part, dict):
        for name, value in part.items():
            if name == "schema" or (name == "schemas" and isinstance(value, dict)):
                yield from ([value] if name == "schema" else value.values())
            yield from every_schema(value)
    elif isinstance(part, list):
        for value in part:
            yield from every_schema(value)


def test_every_schema_in_the_description_is_one():
    found = list(every_schema(DOCUMENT))
    assert len(found) > 150
    for schema in found:
        jsonschema.Draft202012Validator.check_schema(schema)


def test_whatever_is_referred_to_is_there():
    for where in set(re.findall(r'"\$ref": "#/([^"]+)"', json.dumps(DOCUMENT))):
        part = DOCUMENT
        for name in where.split("/"):
            part = part[name]
        assert part


def test_the_description_has_the_parts_that_openapi_asks_for():
    """After the OpenAPI 3.1.0 specification: 4.8.1 (root), 4.8.8 (paths), 4.8.10 (operations), 4.8.12 (parameters)."""
    assert DOCUMENT["openapi"] == "3.1.0" and {"title", "version"} <= set(DOCUMENT["info"])
    names = []
    for path, methods in DOCUMENT["paths"].items():
        assert path.startswith("/api/")
        for method, operation in methods.items():
            assert method in ("get", "post") and operation["responses"] and operation["summary"]
            names.append(operation["operationId"])
            inside = {one["name"] for one in operation.get("parameters", ()) if one["in"] == "path"}
            assert inside == set(re.findall("{([a-z]+)}", path))
            assert all(one["required"] for one in operation.get("parameters", ()) if one["in"] == "path")
            assert all(re.fullmatch("[1-5][0-9]{2}", status) for status in operation["responses"])
    assert len(names) == len(set(names))


def test_every_route_and_every_verb_is_described_and_nothing_else(web):
    routes = {
        (re.sub("<([a-z]+)>", r"{\1}", rule.rule), method.lower())
        for rule in web.app.url_map.iter_rules()
        for method in rule.methods - {"HEAD"}
        if rule.endpoint.startswith("api.") and rule.endpoint not in ("api.page", "api.act")
    }
    verbs = {
        (f"/api/verbs/{one.command}", "post")
        for one in registry.everything().values()
        if one.name not in calls.NOT_HERE
    }
    assert {
        (path, method) for path, methods in DOCUMENT["paths"].items() for method in methods
    } == routes | verbs


def test_each_verbs_role_and_pin_are_said():
    for one in registry.everything().values():
        if one.name not in calls.NOT_HERE:
            said = DOCUMENT["paths"][f"/api/verbs/{one.command}"]["post"]
            assert (said["x-role"], said["x-pin"]) == (one.role, one.pin)


def test_every_problem_is_explained_on_the_page(web):
    text = web.get("/api").text
    assert all(f'id="{name}"' in text and str(kind.status) in text for name, kind in problems.KINDS.items())


# -- answers on a filled book ----------------------------------------------------------------------------------------------------------
@pytest.fixture
def token(web, clock, monkeypatch):
    monkeypatch.setattr(reading, "WRONG_TOKENS", 10**9)  # schemathesis tries a wrong one beside every request
    made = devices.new_token()
    fields = {"device": "tester", "role": "owner", "token_hash": devices.token_hash(made)}
    acting.act(web.book, acting.Action("admit device", fields, who="Dana"), now=clock.now)
    return made


def test_every_answer_on_a_filled_book_is_as_described(web, token, names):
    client = web.app.test_client()
    looked = 0
    for one in calls.CALLS:
        answers = DOCUMENT["paths"]["/api" + re.sub("<([a-z]+)>", r"{\1}", one.path)]["get"]["responses"]
        items = [
            names[key]
            for key in (
                "sent",
                "cured",
                "held",
                "waiting",
                "a",
                "b",
                "batch",
                "cup",
                "line",
                "zone",
                "filling",
                "reclaimed",
            )
        ]
        for item in items if "<id>" in one.path else [""]:
            path = "/api" + one.path.replace("<id>", item).replace("<verb>", "grind").replace("<seq>", "5")
            answer = client.get(
                path + ("?suspect=B-11&traces=true" if one.name == "recall" else ""),
                headers={"Authorization": f"Bearer {token}"},
            )
            holds(answer.get_json(), answers[str(answer.status_code)]["content"][answer.mimetype]["schema"])
            looked += answer.status_code == 200
    assert looked > 40


def test_what_a_verb_answers_is_as_described(web, token, names):
    answers = DOCUMENT["paths"]["/api/verbs/finish-fill"]["post"]["responses"]
    sent = {
        "who": "Kim",
        "fields": {"tire": names["filling"], "line": "line 3", "weight_kg": 140, "pressure_psi": 190},
    }
    body = DOCUMENT["paths"]["/api/verbs/finish-fill"]["post"]["requestBody"]["content"]["application/json"][
        "schema"
    ]
    holds(sent, body)
    headers = {"Authorization": f"Bearer {token}", "Idempotency-Key": "1"}
    for status in (201, 200):
        answer = web.app.test_client().post("/api/verbs/finish-fill", json=sent, headers=headers)
        assert answer.status_code == status, answer.text
        holds(answer.get_json(), answers[str(status)]["content"]["application/json"]["schema"])
    assert answer.get_json()["findings"] and all(
        set(one) == set(shapes.Finding.model_fields) for one in answer.get_json()["findings"]
    )


# -- schemathesis --------------------------------------------------------------------------------------------------------------------
CHECKS = [
    not_a_server_error, status_code_conformance, content_type_conformance, response_headers_conformance, response_schema_conformance,
    negative_data_rejection, missing_required_header, unsupported_method, ignored_auth,
]  # fmt: skip
# Not checked: that data of the right shape is accepted. A well-formed ID may name nothing here, and then it is refused.


class Asking:
    """schemathesis before one app: asks each operation with right and with wrong requests, and keeps what came back."""

    def __init__(self, web, token):
        self.schema = schemathesis.openapi.from_wsgi("/api/openapi.json", web.app)
        self.token, self.statuses = token, {}

    def ask(self, operation, mode, examples, change=lambda case: case, **fixed):
        @settings(
            max_examples=examples, deadline=None, database=None, derandomize=True, phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        )  # fmt: skip
        @given(operation.as_strategy(generation_mode=mode, **fixed).map(change))
        def one(case):
            headers = {"Authorization": f"Bearer {self.token}", "Accept-Encoding": "identity"}
            answer = case.call_and_validate(headers=headers, checks=CHECKS)
            self.statuses.setdefault(operation.path, []).append(answer.status_code)

        one()

    def all_of(self, method):
        return [found.ok() for found in self.schema.include(method=method).get_all_operations()]


@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE], ids=["right", "wrong"])
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_whatever_is_asked_is_answered_as_described(web, token, method, mode):
    asking = Asking(web, token)
    operations = asking.all_of(method)
    if mode is GenerationMode.NEGATIVE:  # what takes neither a question nor a token can't be asked wrongly
        operations = [one for one in operations if one.path != "/api/openapi.json"]
    for operation in operations:
        asking.ask(operation, mode, 8 if method == "GET" else 3)
    assert len(asking.statuses) == len(operations) > 10
    assert not any(status >= 500 for found in asking.statuses.values() for status in found)


def test_the_same_for_items_that_are_there(web, token, names):
    asking = Asking(web, token)
    for operation in asking.all_of("GET"):
        if "{id}" in operation.path:
            asking.ask(
                operation, GenerationMode.POSITIVE, 10, path_parameters={"id": ids.pretty(names["sent"])}
            )
    assert len(asking.statuses) == 4 and all(200 in found for found in asking.statuses.values())


def test_the_same_for_somebody_who_works_there(web, token):
    """The description's own examples of a body, sent as the owner and now: many are written down, none breaks anything."""

    def by_the_owner(case):
        if isinstance(case.body, dict):
            case.body = {"who": "Dana", "fields": case.body.get("fields", {})}
        return case

    asking, before = Asking(web, token), web.head()
    for operation in asking.all_of("POST"):
        asking.ask(operation, GenerationMode.POSITIVE, 4, by_the_owner)
    statuses = [status for found in asking.statuses.values() for status in found]
    assert set(statuses) <= {200, 201, 409, 413, 415, 422}
    assert web.head() - before == statuses.count(201) > 5
    assert chain.check_chain(web.book, "BH") is None
