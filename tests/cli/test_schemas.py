"""``verbs --json`` tells another program what may be said; what it allows and what is taken must be the same.

Checked with jsonschema, the reference implementation of JSON Schema 2020-12 for Python.
"""

import json
from decimal import Decimal

import jsonschema
import pytest
from click.testing import CliRunner

from fillbook.trace.cli.commands import cli
from fillbook.trace.core.errors import ShopError
from fillbook.trace.work import acting, action_lines, registry

SCHEMAS = {
    one["verb"]: one["fields"] for one in json.loads(CliRunner().invoke(cli, ["verbs", "--json"]).stdout)
}


def allows(verb: str, fields) -> bool:
    return jsonschema.Draft202012Validator(SCHEMAS[verb]).is_valid(fields)


@pytest.mark.parametrize("verb", SCHEMAS)
def test_each_schema_is_one(verb):
    jsonschema.Draft202012Validator.check_schema(SCHEMAS[verb])


RECEIVE = {"supplier": "Northvale", "lot": "A-9", "side": "A", "system": "RX-30", "net_kg": 1000}
TAKEN = [
    ("receive", RECEIVE),
    ("receive", RECEIVE | {"lot": 2231}),
    ("receive", RECEIVE | {"net_kg": "950,5"}),
    ("receive", RECEIVE | {"totes": "2", "use_by": "2027-10-03 08:00"}),
    ("receive", {k: v for k, v in RECEIVE.items() if k != "net_kg"} | {"net_lb": 2204.6}),
    ("take in", {"customer": "Quarry Nine", "size": "12-16.5", "rating_psi": 75, "mix_pct": 40}),
    ("purge", {"line": "line 1", "weight_kg": 2}),
    ("pour cup", {"line": "line 1", "weight_g": 400, "mix_f": 75}),
    ("pour cup", {"line": "line 1"}),
    ("read temperature", {"zone": "warm room", "reading_f": "72"}),
    ("clean", {"line": "line 1", "parts": "hopper"}),
    ("grind", {"pieces": [{"source": "unknown", "weight_kg": 5}, "unknown,weight_kg=3"]}),
    ("grind", {"pieces": {"source": "unknown", "weight_kg": 5}}),
    ("hold", {"lot": "A-77", "why": "smell"}),
    ("set limit", {"limit": "cure_temperature", "to": "73 f", "source": "data sheet"}),
]


@pytest.mark.parametrize(("verb", "fields"), TAKEN)
def test_what_is_taken_the_schema_allows(shop, verb, fields):
    shop.tote("A", lot="A-77")
    line = json.dumps({"verb": verb, "who": "Dana", "fields": fields})
    assert action_lines.enter(shop.book, line, now=shop.now)
    assert allows(verb, fields)


REFUSED = [
    ("receive", RECEIVE | {"colour": "red"}),
    ("receive", {k: v for k, v in RECEIVE.items() if k != "lot"}),
    ("receive", {k: v for k, v in RECEIVE.items() if k != "net_kg"}),
    ("receive", RECEIVE | {"net_lb": 5}),
    ("receive", RECEIVE | {"side": "C"}),
    ("receive", RECEIVE | {"use_by": 20271003}),
    ("receive", RECEIVE | {"lot": ["A"]}),
    ("receive", RECEIVE | {"lot": True}),
    ("receive", RECEIVE | {"net_kg": True}),
    ("receive", RECEIVE | {"net_kg": [1]}),
    ("take in", {"customer": "Q" * 201, "size": "12-16.5"}),
    ("take in", {"customer": "Quarry Nine", "size": "1", "rating_psi": 70, "rating_kpa": 500}),
    ("grind", {"pieces": [{"source": "unknown", "weight_kg": 5, "colour": "red"}]}),
    ("grind", {"pieces": [{"source": "unknown"}]}),
    ("grind", {"pieces": [5]}),
    ("unhook", {"tote": "{tote}", "empty": 1}),
    ("correct", {"event": 1, "fields": [1], "why": "x"}),
]


@pytest.mark.parametrize(("verb", "fields"), REFUSED)
def test_what_the_schema_forbids_is_refused(shop, verb, fields):
    fields = {k: shop.tote() if v == "{tote}" else v for k, v in fields.items()}
    assert not allows(verb, fields)
    with pytest.raises(ShopError):
        action_lines.enter(
            shop.book, json.dumps({"verb": verb, "who": "Dana", "fields": fields}), now=shop.now
        )


def test_all_that_was_ever_said_in_a_busy_shop_fits_the_schemas(shop, monkeypatch):
    """Every action the builder sends goes past the schema first."""
    said = []
    real = acting.act

    def watched(book, action, *, now):
        done = real(book, action, now=now)
        said.append((action.verb, json.loads(json.dumps(action.fields, default=str))))
        return done

    monkeypatch.setattr(acting, "act", watched)
    shop.ready_line()
    tire = shop.cured(start={"bay_f": Decimal("75.5")}, topup_kg=8, mix_pct=0)
    shop.lead(
        "release", **({"tires": [tire]} if "tires" in SCHEMAS["release"]["properties"] else {"tire": tire})
    )
    shop.act("dispatch", tires=[tire])
    batch = shop.grind(**{shop.reclaimed(): 90, "unknown": 5})
    shop.load(batch, 80)
    shop.correct(shop.head, weight_kg=81)
    assert len(said) >= 15
    for verb, fields in said:
        assert allows(verb, {k: v for k, v in fields.items() if v is not None}), (verb, fields)


def test_each_field_says_what_it_is():
    for verb, schema in SCHEMAS.items():
        assert schema["additionalProperties"] is False
        for name, field in schema["properties"].items():
            assert field.get("description"), f"{verb}: {name}"
        assert set(schema["required"]) <= set(schema["properties"])


def test_a_default_stands_only_beside_the_unit_it_is_in():
    cup = SCHEMAS["pour cup"]["properties"]
    assert (
        cup["weight_g"]["default"] == 500
        and "default" not in cup["weight_kg"]
        and "default" not in cup["weight_lb"]
    )


def test_every_verb_is_described():
    assert set(SCHEMAS) == set(registry.everything())
