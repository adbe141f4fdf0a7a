"""What can't be is refused in one sentence, and a refusal changes nothing: no event, no fact, no derived row."""

import importlib.util
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from fillbook.trace.cli.commands import cli
from fillbook.trace.core.errors import ShopError

_spec = importlib.util.spec_from_file_location(
    "bad_input_cases", Path(__file__).with_name("bad_input_cases.py")
)
table = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(table)

CASES = pytest.mark.parametrize("case", table.CASES, ids=lambda case: case.name)


@pytest.fixture(scope="module")
def laid_out(the_shop, tmp_path_factory):
    """The shop every case is wrong about. A refusal changes nothing, so they can all share it."""
    made = the_shop.Shop.start(str(tmp_path_factory.mktemp("shop") / "shop.db"))
    names = table.stage(made)
    yield made, names
    made.check()
    made.book.db.close()


def is_one_clear_answer(words: str) -> bool:
    """A sentence or two on one line, in the shop's words."""
    inner = ("Traceback", "Error", "pydantic", "should be", "{'", "None", "  ", "..")
    return (
        words.endswith((".", ".)"))
        and "\n" not in words
        and 15 < len(words) < 600
        and not any(w in words for w in inner)
    )


@CASES
def test_the_verb_refuses_and_says_why(laid_out, case):
    shop, names = laid_out
    before = shop.fingerprint()
    with pytest.raises(ShopError) as refused:
        shop.act(
            case.verb, who=case.who, at=case.time(names), override=case.override, request=case.request, **case.said(names)
        )  # fmt: skip
    words = str(refused.value)
    assert type(refused.value).__name__ == case.error, words
    assert refused.value.field == case.field, words
    assert all(said in words for said in case.says), words
    assert is_one_clear_answer(words), words
    assert shop.fingerprint() == before


def as_line(case, names) -> str:
    said = {
        "verb": case.verb,
        "who": case.who,
        "at": case.time(names),
        "override": case.override,
        "request": case.request,
    }
    return json.dumps({**{k: v for k, v in said.items() if v is not None}, "fields": case.said(names)})


@CASES
def test_an_action_line_exits_1_and_names_line_and_field(laid_out, case, tmp_path):
    shop, names = laid_out
    before = shop.fingerprint()
    good = json.dumps(
        {"verb": "take in", "who": "Sam", "fields": {"customer": "Quarry Nine", "size": "12-16.5"}}
    )
    (tmp_path / "monday.jsonl").write_text(f"{good}\n{as_line(case, names)}\n{good}\n", encoding="utf-8")
    done = CliRunner().invoke(
        cli, ["--book", shop.book.where, "enter", str(tmp_path / "monday.jsonl"), "--json"]
    )
    assert done.exit_code == 1, done.output
    answer = json.loads(done.stdout)
    assert set(answer) == {"error", "line", "field", "expected"}
    assert (answer["line"], answer["field"]) == (2, case.field)
    assert all(said in answer["error"] for said in case.says)
    assert done.stderr.startswith("line 2") and "Nothing of the file was entered." in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert shop.fingerprint() == before


def as_command(case, names) -> list[str]:
    """The same, typed: ``fillbook finish-fill --tire … --weight-kg …``."""
    words = [case.verb.replace(" ", "-")]
    for name, value in case.said(names).items():
        for part in value if isinstance(value, list) else [value]:
            if isinstance(part, dict):
                part = json.dumps(part) if name == "fields" else ",".join(f"{k}={v}" for k, v in part.items())
            words += ["--" + name.replace("_", "-"), {True: "yes", False: "no"}.get(part, str(part)) if isinstance(part, bool) else str(part)]  # fmt: skip
    for name in ("who", "override", "request"):
        if getattr(case, name) is not None:
            words += ["--" + name, getattr(case, name)]
    if case.at is not None:
        words += ["--at", case.time(names)]
    return words


@pytest.mark.parametrize("case", [c for c in table.CASES if c.typed], ids=lambda case: case.name)
def test_a_command_exits_1_with_one_sentence(laid_out, case):
    shop, names = laid_out
    before = shop.fingerprint()
    done = CliRunner().invoke(cli, ["--book", shop.book.where, *as_command(case, names)])
    assert done.exit_code == 1, (done.output, done.exception)
    words = done.stderr.strip()
    assert all(said in words for said in case.says), words
    assert is_one_clear_answer(words), words
    assert done.stdout == ""
    assert shop.fingerprint() == before


def test_every_case_has_a_name_of_its_own():
    names = [case.name for case in table.CASES]
    assert len(set(names)) == len(names) and all(re.fullmatch(r"[a-zA-Z][\w ,'-]*", name) for name in names)
