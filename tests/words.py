"""Bring the catalogues of the pages up to date: ``python -m tests.words`` (or ``make words``).

Every run of words in a template, every sentence of the rules in Python, every caption and choice of a verb, every sentence of a script
becomes a message of ``trace/web/translations/*/LC_MESSAGES/messages.po``. A new one is added without words, and
``tests/web/test_languages.py`` names it until somebody writes them; one that nothing says any more is taken out. Templates go through the same steps as when they are loaded
(``trace/web/languages/runs.py``); Python is read as a tree, each f-string a sentence with places.
"""

import ast
import calendar
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import jinja2
from babel.messages.catalog import Catalog
from babel.messages.pofile import read_po, write_po

from fillbook.labels import faces, parts
from fillbook.trace.core import ids, labelling, limits, units
from fillbook.trace.languages.catalogue import LANGUAGES, PLACE, po_file
from fillbook.trace.web import showing, wording
from fillbook.trace.web.languages import runs, script
from fillbook.trace.work import registry
from fillbook.trace.work.ask import Measure, fields_of

ROOT = Path(__file__).resolve().parent.parent
#: Where sentences of the pages are made. The commands, the labels' own drawing and the description for programs stay English.
PYTHON = ("trace/core", "trace/book", "trace/work", "trace/web", "labels")
NOT_SAID = {
    "trace/web/api/openapi.py", "trace/web/api/shapes.py", "trace/web/api/calls.py", "trace/web/api/problems.py", "trace/web/api/reading.py", "trace/web/api/views.py",
    "trace/web/headers.py", "trace/web/keys.py", "trace/web/refusing.py", "trace/web/languages/runs.py", "trace/languages/catalogue.py", "trace/book/tables.py", "trace/book/opening.py",
    "labels/preview.py", "labels/pdf.py", "labels/fitting.py", "labels/logos.py",
    "trace/work/action_lines.py", "trace/book/backup.py", "trace/book/replay.py",
    "trace/book/reach.py", "trace/book/paged.py", "trace/web/languages/script.py",
}  # fmt: skip
#: The page of the calls is for who writes programs, and stays English like the description it explains.
NOT_TRANSLATED = {"trace/web/api/page.html"}
#: Calls whose texts nobody reads as words.
NOT_READ = {
    "rows", "one", "value", "tuples", "execute", "execute_sql", "compile", "getLogger", "exception", "insert", "insert_many", "match", "search", "sub", "split",
    "findall", "fullmatch", "startswith", "endswith", "removeprefix", "removesuffix", "strftime", "strptime", "field_validator", "TypeVar", "url_for",
    "render_template", "Blueprint", "get", "post", "getlist", "encode", "decode", "open", "setFont", "setTitle", "RuntimeError", "ValueError", "AssertionError",
    "import_module", "debug", "info", "warning", "replace", "while_unchanged",
}  # fmt: skip
SQL = re.compile(
    r"\s*\(?(SELECT|INSERT|UPDATE|DELETE|CREATE|WITH|FROM|AND|OR|WHERE|JOIN|LEFT|ORDER|GROUP|UNION|LIMIT|VALUES|SAVEPOINT|ROLLBACK|PRAGMA|VACUUM|EXISTS|NOT|ALTER|DROP|HAVING|IN|SET)\b"
)
#: What looks like words and is not: pieces of SQL, of headers, of addresses and names of settings.
CODE = re.compile(
    r"^\?|= \?|\b[a-z]\.[a-z]|\bJOIN\b|; filename|max-age|window\.|^[\w.]+[:_]\w*[\w:]*$|^\w+:$|^[a-z -]+\.\w+_\w+$|^shape-|^lp:|^sha256:|^net_|^GTIN-|static/|IS NOT NULL|BETWEEN|^[a-z ]+\.[a-z]+$|^Bearer realm|EEE|^item IN |^substr\(|^fillbook (faces|logos)$|^Content-|PAGES\b|^Cache-Control|^Allow$|^Accept-Language|^event e$|^\(at, |^scrypt|^window|^https?:"
)
#: Single words that only turn up as values: states, kinds, roles and the like, gathered where they are listed.
SINGLE = (
    "hand", "lead", "owner", "suspected", "yes", "no", "half", "set", "not set", "known", "unknown", "scale", "waiting", "passed", "failed", "today", "right to left", "not known yet", "side A", "side B", "unknown origin", "note", "front", "back", "reserved", "default", "traces", "usual", "or", "and", "badges", "quarter",
    "customer {value}", "size {value}", "unit number {value}", "wheel serial {value}", "tire serial {value}", "site {value}", "copy {value}", "lot {value}", "supplier {value}", "unit {value}",
    "serial {value}", "system {value}", "order {value}", "mixed", "here", "waste", "by way of {join}", "{id} by way of {join}", "FAILED", "none", "now", "overridden", "Cured {credited} of the {needed} needed{added}",
)  # fmt: skip


def parts_of(node: ast.AST) -> list:
    """An f-string, a text or a sum of them as words and values."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.JoinedStr):
        return [part for value in node.values for part in parts_of(value)]
    if isinstance(node, ast.FormattedValue):
        inner = parts_of(node.value)
        return inner if all(isinstance(part, str) for part in inner) else [node.value]
    return [node]


def words_in(node: ast.AST) -> bool:
    """Whether a choice is between words, on one side at least."""
    return any(
        bool(re.search(r"[^\W\d_]", part))
        if isinstance(part, str)
        else isinstance(part, ast.IfExp) and words_in(part)
        for value in (node.body, node.orelse)
        for part in parts_of(value)
    )


def ways(parts: list, left: int = 3) -> Iterator[list]:
    """Each whole sentence, where words in it are chosen."""
    choice = next((p for p in parts if isinstance(p, ast.IfExp) and words_in(p)), None)
    if choice is None or not left:
        yield parts
        return
    test = ast.dump(choice.test)
    for branch in ("body", "orelse"):
        said = []
        for part in parts:
            same = isinstance(part, ast.IfExp) and ast.dump(part.test) == test
            said += parts_of(getattr(part, branch)) if same else [part]
        yield from ways(said, left - 1)


def name_of(node: ast.AST) -> str:
    match node:
        case ast.Name():
            return node.id
        case ast.Attribute():
            return node.attr
        case ast.Subscript():
            return (
                node.slice.value
                if isinstance(node.slice, ast.Constant) and isinstance(node.slice.value, str)
                else name_of(node.value)
            )
        case ast.Call():
            inner = (
                node.args[0]
                if len(node.args) == 1 and isinstance(node.args[0], ast.Name | ast.Attribute)
                else node.func
            )
            return name_of(inner)
        case ast.BinOp():
            return name_of(node.left)
        case ast.IfExp():
            return name_of(node.body)
    return "value"


class Python(ast.NodeVisitor):
    """The sentences of one module."""

    def __init__(self, heard) -> None:
        self.heard = heard

    def visit_Expr(self, node):
        if not isinstance(node.value, ast.Constant):  # a docstring is read by developers
            self.generic_visit(node)

    def visit_Compare(self, node):
        pass

    def visit_Assert(self, node):
        pass

    def visit_arg(self, node):
        pass

    def visit_AnnAssign(self, node):
        if node.value:
            self.visit(node.value)

    def visit_FunctionDef(self, node):
        for part in (*node.decorator_list, *node.body):
            self.visit(part)

    def visit_Subscript(self, node):
        self.visit(node.value)
        if isinstance(node.ctx, ast.Store):  # found["Service number"] = …
            self.visit(node.slice)
        if isinstance(node.value, ast.Name) and node.value.id == "Literal":
            for one in ast.walk(node.slice):
                if isinstance(one, ast.Constant) and isinstance(one.value, str):
                    self.heard(one.value, one.lineno)

    def visit_Call(self, node):
        name = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
        if name not in NOT_READ:
            self.visit(node.func)
            for part in node.args:
                self.visit(part)
            for word in node.keywords:
                if word.arg not in ("field", "verb", "pattern"):
                    self.visit(word.value)
        elif name in ("get", "one", "value", "replace"):
            for part in node.args[1:]:
                self.visit(part)
        else:
            for part in node.args:
                if not isinstance(part, ast.Constant | ast.JoinedStr):
                    self.visit(part)

    def visit_BinOp(self, node):
        self.generic_visit(node)

    def visit_Constant(self, node):
        if isinstance(node.value, str) and runs.words_like(node.value) and not SQL.match(node.value):
            self.say([node.value], node.lineno)

    def visit_JoinedStr(self, node):
        parts = []
        for part in parts_of(node):
            parts.append(part)
            if isinstance(part, ast.AST) and not isinstance(part, ast.IfExp):
                self.visit(part)
        fixed = "".join(p for p in parts if isinstance(p, str))
        if SQL.match(fixed):
            return
        for said in ways(parts):
            self.say(said, node.lineno)

    def say(self, parts, line):
        fixed = "".join(p for p in parts if isinstance(p, str))
        if not re.search(r"[^\W\d_]{2}", fixed) or re.match(r"\s*[/#<&.]|\w+/\w+$", fixed):
            return
        if not any(not isinstance(p, str) for p in parts) and not runs.words_like(fixed):
            return
        if any(not isinstance(p, str) for p in parts) and not re.search(
            r"(^|\s)[^\W\d_]{2,}|[^\W\d_]{2,}(\s|$|[,.:;])", fixed
        ):
            return
        joined = []
        for part in parts:
            if isinstance(part, str) and joined and isinstance(joined[-1], str):
                joined[-1] += part
            else:
                joined.append(part)
        message, _ = runs.name_places(joined, name_of)
        self.heard(message.strip(), line)


def said_on_labels() -> Iterator[str]:
    """The words that stand on any label by themselves: a headline, what a face calls a fact."""
    for face in faces.FACES.values():
        for part in (part for page in face.pages for part in page):
            if isinstance(part, parts.Words) and PLACE.sub("", part.says) == part.says:
                yield part.says
            elif isinstance(part, parts.Fact) and part.caption:
                yield part.caption


def gather() -> dict[str, list[tuple[str, int]]]:
    """Every message -> where it is said."""
    found: dict[str, list[tuple[str, int]]] = {}

    def hear(path):
        def heard(message, line=0):
            message = message.strip()
            bare = PLACE.sub("", message)
            code = path.endswith(".py") and (
                CODE.search(bare) or (bare != message and re.fullmatch(r"_?[a-z]*[./\[_]\S*", bare))
            )
            if message and re.search(r"[^\W\d_]{2}", bare) and not code:
                found.setdefault(message, []).append((path, line))

        return heard

    plain = jinja2.Environment(trim_blocks=True, lstrip_blocks=True)
    for path in sorted((ROOT / "trace/web").glob("*/*.html")):
        name = path.relative_to(ROOT).as_posix()
        if name not in NOT_TRANSLATED:
            runs.in_runs(plain.parse(path.read_text(encoding="utf-8")), plain, hear(name))
    for folder in PYTHON:
        for path in sorted((ROOT / folder).rglob("*.py")):
            name = path.relative_to(ROOT).as_posix()
            if name not in NOT_SAID and "/migrations/" not in name:
                Python(hear(name)).visit(ast.parse(path.read_text(encoding="utf-8")))
    heard = hear("verbs")
    for verb in registry.everything().values():
        heard(verb.name)
        heard(verb.words)
        heard(wording.button(verb.name))
        asked = list(fields_of(verb.ask))
        asked += [part for one in asked if one.sub is not None for part in fields_of(one.sub)]
        for one in asked:
            heard(wording.caption(verb.name, one.name))
            heard(one.words)
            if isinstance(one.mark, Measure):
                heard(units.called(one.name, one.mark.canonical))
                heard(one.mark.what)
            for choice in one.choices:
                heard(choice)
    heard = hear("words")
    days = [f"{name} {{value}}" for name in (*calendar.day_abbr, *calendar.month_abbr) if name]
    for word in (
        *SINGLE,
        *days,
        *ids.KINDS.values(),
        *showing.LOOKS,
        *labelling.FACTS.values(),
        *labelling.SUBSTANCES,
        *said_on_labels(),
        *(name.replace("_", " ") for name in limits.LIMITS),
    ):
        heard(word)
    for name, words in script.words_of_scripts().items():
        for one in words:
            hear(f"static/{name}")(one)
    return found


def up_to_date(
    language: str, found: dict[str, list[tuple[str, int]]]
) -> tuple[Catalog, list[str], list[str]]:
    """The catalogue of *language* with just the messages of *found*: (catalogue, added, taken out)."""
    with po_file(language).open("rb") as file:
        before = read_po(file, language)
    made = Catalog(
        locale=language,
        project="fillbook",
        version="pages",
        msgid_bugs_address="whoever keeps the program",
        last_translator="the shop",
        language_team=language,
        header_comment=before.header_comment,
        charset="utf-8",
        fuzzy=False,
    )
    made.creation_date = made.revision_date = before.creation_date
    for message in sorted(found, key=lambda m: (found[m][0][0], found[m][0][1], m)):
        known = before.get(message)
        places = dict.fromkeys(path for path, _ in found[message])
        made.add(message, known.string if known else "", locations=[(path, 0) for path in places][:3])
    old = {m.id for m in before if m.id}
    return made, sorted(set(found) - old), sorted(old - set(found))


def main() -> None:
    found = gather()
    for language in LANGUAGES:
        if language == "en":
            continue
        made, added, gone = up_to_date(language, found)
        with po_file(language).open("wb") as file:
            write_po(file, made, width=0, include_lineno=False, sort_output=False)
        empty = [m.id for m in made if m.id and not m.string]
        print(
            f"{language}: {len(found)} messages, {len(added)} new, {len(gone)} taken out, {len(empty)} without words"
        )
        if "-v" in sys.argv:
            print("\n".join(empty))


if __name__ == "__main__":
    main()
