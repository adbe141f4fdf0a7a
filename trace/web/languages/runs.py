"""Templates are written in plain English; when one is loaded, each run of words in it becomes a look-up in the catalogue.

A run is what stands between two tags (or two block tags) in a text, or in an attribute a person reads. ``{{ … }}`` inside it becomes
a place with a name, so that another language may order the sentence otherwise. A choice between words inside a run (``"tire" if n == 1
else "tires"``) makes one whole sentence of each. A value shown on its own is looked up as it is: what the rules say in Python is
known to the catalogue, too, and what people typed is not. So no words can be forgotten by whoever writes a page, and the catalogue is
gathered by the very same steps (``python -m tests.words``).
"""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from flask.templating import Environment as FlaskEnvironment
from jinja2 import nodes

#: Attributes that a person sees or hears. ``data-name`` is the caption that the style sheet writes beside a cell on a phone.
HUMAN = {"aria-label", "title", "placeholder", "alt", "data-name", "data-short"}
#: Elements whose text is not words: code, and what somebody typed.
QUIET = {"script", "style", "code", "pre", "textarea", "kbd", "samp"}
VOID = {
    "area", "base", "br", "col", "embed", "hr", "img", "input", "link", "meta", "source", "track", "wbr",
}  # fmt: skip
#: What is called like this holds what people typed, IDs or numbers; it is never looked up.
DATA = {
    "code", "count", "customer", "device", "example", "host", "href", "id", "index", "item", "lot", "name", "number", "pattern", "pdf",
    "seq", "serial", "site", "size", "supplier", "system", "token", "total", "unit", "wheel_serial", "Customer", "Size", "Wheel serial",
    "Unit", "position", "sensor", "printer",
}  # fmt: skip
DATA_CALLS = {"pretty", "compact", "hours", "percent", "about", "static", "csrf_token", "url_for"}
DATA_FILTERS = {"length", "format", "urlencode", "sum", "round", "int"}
#: Macros that draw a part of the page: a sentence never runs through them.
DRAWN = {
    "brand", "carried", "caution", "drawing", "field", "flag", "glyph", "meter", "people", "pin_field", "rack_row", "signature", "state",
    "time_of_it", "trouble", "verb_form", "caller", "super",
}  # fmt: skip
MOST_CHOICES = 3  # choices between words in one run; more would make too many sentences

_LETTER = re.compile(r"[^\W\d_]{2}|[^\W\d_]$")
_TAG = re.compile(r"<(!--|!|/?)([a-zA-Z][\w-]*)?")
_IN_TAG = re.compile(r"([\w:@-]+)\s*=\s*([\"'])|/?>|-->")
_SPLIT = re.compile(r"(\s*·\s*)")

Heard = Callable[[str, int], None]  # a message, and the line it stands in


@dataclass
class Spot:
    """Where in the page's markup the next character stands."""

    mode: str = "text"  # text, tag, attribute
    tag: str = ""
    closing: bool = False
    silent: bool = False  # the tag being read says translate="no"
    attribute: str = ""
    quote: str = ""
    open: tuple[tuple[str, bool], ...] = ()

    @property
    def speaks(self) -> bool:
        """Whether words that stand here are shown to a person as words."""
        quiet = bool(self.open) and self.open[-1][1]
        return (self.mode == "text" and not quiet) or (self.mode == "attribute" and self.attribute in HUMAN)

    def end_tag(self, written: str) -> None:
        self.mode = "text"
        if self.closing:
            names = [name for name, _ in self.open]
            if self.tag in names:
                self.open = self.open[: len(names) - 1 - names[::-1].index(self.tag)]
        elif self.tag and self.tag not in VOID and not written.startswith("/"):
            quiet = bool(self.open) and self.open[-1][1]
            self.open += ((self.tag, quiet or self.tag in QUIET or self.silent),)
        self.tag, self.silent = "", False


class Environment(FlaskEnvironment):
    """Flask's own, with templates whose words are looked up."""

    def compile(
        self, source: Any, name: Any = None, filename: Any = None, raw: Any = False, defer_init: bool = False
    ) -> Any:
        if isinstance(source, str) and (name or "").endswith(".html"):
            source = in_runs(self.parse(source, name, filename), self)
        return super().compile(source, name, filename, raw, defer_init)


def in_runs(tree: nodes.Template, environment: Any, heard: Heard | None = None) -> nodes.Template:
    """*tree* with every run of words made a look-up; *heard* is told each message."""
    _Walk(heard or (lambda message, line: None)).body(tree.body, Spot())
    tree.set_environment(environment)
    return tree


def name_places(parts: list[str | Any], name_of: Callable[[Any], str]) -> tuple[str, dict[str, Any]]:
    """Words and values as one message, each value a place with a name of its own: ``"Tote {tote} holds {left_g}."``"""
    message, places = "", {}
    for part in parts:
        if isinstance(part, str):
            message += part
            continue
        name = re.sub(r"\W", "", name_of(part)).lower() or "value"
        if not re.match("[a-z_]", name):
            name = "value"
        taken, n = name, 2
        while taken in places:
            taken, n = f"{name}{n}", n + 1
        places[taken] = part
        message += "{" + taken + "}"
    return message, places


def words_like(text: str) -> bool:
    """Whether a text constant of a program is words for a person: several words, or one that begins like a caption."""
    if not _LETTER.search(text) or re.match(r"[/#?.&<-]|[\w-]+=", text):
        return False
    return bool(re.search(r"[^\W\d_]{2,}\W*\s|\s[^\W\d_]{2,}", text) or re.match(r"[A-Z][a-z]", text))


class _Walk:
    def __init__(self, heard: Heard) -> None:
        self.heard = heard

    def body(self, body: list[nodes.Node], spot: Spot) -> Spot:
        """Every statement of *body* in order, changed in place; the spot after it."""
        for n, node in enumerate(body):
            if isinstance(node, nodes.Output):
                body[n], spot = self.output(node, spot)
            elif isinstance(node, nodes.Macro | nodes.Block):
                inner = replace(spot) if isinstance(node, nodes.Block) else Spot()
                self.body(node.body, inner)
                for default in getattr(node, "defaults", ()):
                    self.loose(default)
            elif isinstance(node, nodes.If):
                after = self.body(node.body, replace(spot))
                for other in node.elif_:
                    self.body(other.body, replace(spot))
                self.body(node.else_, replace(spot))
                spot = after
            elif isinstance(node, nodes.For):
                self.loose(node.iter)
                after = self.body(node.body, replace(spot))
                self.body(node.else_, replace(spot))
                spot = after
            elif isinstance(node, nodes.CallBlock):
                self.loose(node.call)
                self.body(node.body, Spot())
            elif isinstance(node, nodes.Assign):
                self.loose(node.node)
            elif hasattr(node, "body"):
                spot = self.body(node.body, spot)
        return spot

    # -- one piece of output -------------------------------------------------------------------------------------------------
    def output(self, node: nodes.Output, spot: Spot) -> tuple[nodes.Output, Spot]:
        made: list[nodes.Expr] = []
        run: list[str | nodes.Expr] = []
        line = node.lineno

        def raw(text: str) -> None:
            if text:
                made.append(nodes.TemplateData(text))

        def flush() -> None:
            made.extend(self.run(run, line))
            run.clear()

        for part in node.nodes:
            if not isinstance(part, nodes.TemplateData):
                if spot.speaks:
                    run.append(part)
                else:
                    made.append(part)
                continue
            text, at = part.data, 0
            while at < len(text):
                if spot.mode == "text":
                    tag = _TAG.search(text, at)
                    while tag and not (tag[2] or tag[1] == "!--"):
                        tag = _TAG.search(text, tag.end())
                    end = tag.start() if tag else len(text)
                    if spot.speaks:
                        run.append(text[at:end])
                    else:
                        raw(text[at:end])
                    at = end
                    if tag:
                        flush()
                        spot = replace(spot, mode="tag", tag=(tag[2] or "").lower(), closing=tag[1] == "/")
                        if tag[1].startswith("!"):
                            spot.tag, spot.closing = "", False
                        raw(tag[0])
                        at = tag.end()
                elif spot.mode == "tag":
                    found = _IN_TAG.search(text, at)
                    end = found.end() if found else len(text)
                    raw(text[at:end])
                    at = end
                    if found and found[1]:
                        spot = replace(spot, mode="attribute", attribute=found[1].lower(), quote=found[2])
                        if spot.attribute == "translate" and text.startswith("no", at):
                            spot.silent = True
                    elif found:
                        spot = replace(spot)
                        spot.end_tag(found[0])
                else:
                    end = text.find(spot.quote, at)
                    stop = end if end >= 0 else len(text)
                    if spot.speaks:
                        run.append(text[at:stop])
                    else:
                        raw(text[at:stop])
                    at = stop
                    if end >= 0:
                        flush()
                        spot = replace(spot, mode="tag", attribute="")
                        raw(text[end])
                        at = end + 1
        flush()
        return nodes.Output(made, lineno=node.lineno), spot

    def run(self, parts: list[str | nodes.Expr], line: int) -> Iterator[nodes.Expr]:
        """The output of one run: split where something is drawn or a dot stands, each piece a look-up."""
        flat: list[str | nodes.Expr] = []
        for part in parts:
            flat += [html.unescape(part)] if isinstance(part, str) else _flat(part)
        piece: list[str | nodes.Expr] = []
        for part in flat:
            if isinstance(part, str):
                for n, text in enumerate(_SPLIT.split(part)):
                    if n % 2:
                        yield from self.piece(piece, line)
                        piece = []
                        yield nodes.TemplateData(text)
                    elif text:
                        piece.append(text)
            elif _called(part) in DRAWN:
                yield from self.piece(piece, line)
                piece = []
                self.loose(part)
                yield part
            else:
                piece.append(part)
        yield from self.piece(piece, line)

    def piece(self, parts: list[str | nodes.Expr], line: int) -> Iterator[nodes.Expr]:
        parts = list(parts)
        before = after = ""
        if parts and isinstance(parts[0], str):
            before = parts[0][: len(parts[0]) - len(parts[0].lstrip())]
            parts[0] = parts[0].lstrip()
        if parts and isinstance(parts[-1], str):
            after = parts[-1][len(parts[-1].rstrip()) :]
            parts[-1] = parts[-1].rstrip()
        parts = [part for part in parts if part != ""]
        if before:
            yield nodes.TemplateData(before)
        if parts:
            yield self.chosen(parts, line, MOST_CHOICES)
        if after:
            yield nodes.TemplateData(after)

    def chosen(self, parts: list[str | nodes.Expr], line: int, left: int) -> nodes.Expr:
        """One sentence, or a choice between whole sentences where words in it are chosen."""
        choice = next((p for p in parts if isinstance(p, nodes.CondExpr) and _has_words(p)), None)
        if choice is None or not left:
            return self.message(parts, line)
        test = repr(choice.test)
        ways: list[nodes.Expr] = []
        for branch in ("expr1", "expr2"):
            said: list[str | nodes.Expr] = []
            for part in parts:
                if isinstance(part, nodes.CondExpr) and repr(part.test) == test:
                    value = getattr(part, branch)
                    said += _flat(value) if value is not None else []
                else:
                    said.append(part)
            said = _joined(said)
            ways.append(self.chosen(said, line, left - 1) if said else nodes.Const(""))
        return nodes.CondExpr(choice.test, ways[0], ways[1])

    def message(self, parts: list[str | nodes.Expr], line: int) -> nodes.Expr:
        parts = _joined(parts)
        for part in parts:
            if not isinstance(part, str):
                self.loose(part)
        shown = [p if isinstance(p, str) else _shown(p) for p in parts]
        if not any(isinstance(p, str) and _LETTER.search(p) for p in parts):
            if len(shown) == 1 and not isinstance(shown[0], str):
                return shown[0]
            return _call("said_as_it_is", [nodes.Const(p) if isinstance(p, str) else p for p in shown])
        message, places = name_places(shown, _name)
        message = " ".join(message.split())
        self.heard(message, line)
        return _call(
            "in_the_language", [nodes.Const(message)], [nodes.Keyword(k, v) for k, v in places.items()]
        )

    # -- words that stand elsewhere: in a macro's arguments, a list that is walked, a value that is set ----------------------------
    def loose(self, node: nodes.Node | None) -> None:
        """Tell of the words inside an expression that is shown by and by."""
        if isinstance(node, nodes.Concat):
            for parts in _ways(_joined(_flat(node)), MOST_CHOICES):
                text = "".join(p for p in parts if isinstance(p, str))
                if words_like(text):
                    message, _ = name_places(parts, _name)
                    self.heard(" ".join(message.split()), node.lineno)
            for part in _flat(node):
                if not isinstance(part, str):
                    self.loose(part)
        elif isinstance(node, nodes.Const):
            if isinstance(node.value, str) and words_like(node.value):
                self.heard(" ".join(node.value.split()), node.lineno)
        elif isinstance(node, nodes.CondExpr):
            self.loose(node.expr1)
            self.loose(node.expr2)
        elif isinstance(
            node, nodes.Compare | nodes.Test | nodes.Getitem | nodes.Getattr | nodes.Filter | nodes.Not
        ):
            pass  # texts in these are names of things
        elif isinstance(node, nodes.Call):
            if _called(node) not in {"url_for", "static"}:
                for part in (*node.args, *(k.value for k in node.kwargs)):
                    self.loose(part)
        elif node is not None:
            for part in node.iter_child_nodes():
                self.loose(part)


def _flat(node: nodes.Expr) -> list[str | nodes.Expr]:
    if isinstance(node, nodes.Concat):
        return [part for inner in node.nodes for part in _flat(inner)]
    if isinstance(node, nodes.Const) and isinstance(node.value, str):
        return [node.value]
    return [node]


def _joined(parts: list[str | nodes.Expr]) -> list[str | nodes.Expr]:
    """Neighbouring words as one."""
    found: list[str | nodes.Expr] = []
    for part in parts:
        if isinstance(part, str) and found and isinstance(found[-1], str):
            found[-1] += part
        elif part != "":
            found.append(part)
    return found


def _ways(parts: list[str | nodes.Expr], left: int) -> Iterator[list[str | nodes.Expr]]:
    choice = next((p for p in parts if isinstance(p, nodes.CondExpr) and _has_words(p)), None)
    if choice is None or not left:
        yield parts
        return
    for value in (choice.expr1, choice.expr2):
        said: list[str | nodes.Expr] = []
        for part in parts:
            said += (_flat(value) if value is not None else []) if part is choice else [part]
        yield from _ways(_joined(said), left - 1)


def _has_words(node: nodes.CondExpr) -> bool:
    """Whether a choice is between words, at least on one side."""
    for value in (node.expr1, node.expr2):
        if isinstance(value, nodes.CondExpr) and _has_words(value):
            return True
        if value is not None and any(isinstance(p, str) and _LETTER.search(p) for p in _flat(value)):
            return True
    return False


def _called(node: nodes.Node) -> str:
    return node.node.name if isinstance(node, nodes.Call) and isinstance(node.node, nodes.Name) else ""


def _is_data(node: nodes.Node) -> bool:
    if isinstance(node, nodes.Getattr):
        return node.attr in DATA
    if isinstance(node, nodes.Getitem):
        return isinstance(node.arg, nodes.Const) and node.arg.value in DATA
    if isinstance(node, nodes.Call):
        of_say = isinstance(node.node, nodes.Getattr) and getattr(node.node.node, "name", "") == "say"
        return of_say or _called(node) in DATA_CALLS | DRAWN
    if isinstance(node, nodes.Filter):
        return node.name in DATA_FILTERS or node.name == "safe"
    if isinstance(node, nodes.Name):
        return node.name in DATA - {"name"}
    return isinstance(node, nodes.BinExpr) and not isinstance(node, nodes.Or | nodes.And)


def _shown(node: nodes.Expr) -> nodes.Expr:
    return node if _is_data(node) else _call("in_words", [node])


def _call(name: str, args: list[nodes.Expr], kwargs: list[nodes.Keyword] | None = None) -> nodes.Call:
    return nodes.Call(nodes.Name(name, "load"), args, kwargs or [], None, None)


def _name(node: nodes.Node) -> str:
    """What a place is called: after what stands in it."""
    if isinstance(node, nodes.Name):
        return node.name
    if isinstance(node, nodes.Getattr):
        return node.attr
    if isinstance(node, nodes.Getitem):
        return str(node.arg.value) if isinstance(node.arg, nodes.Const) else _name(node.node)
    if isinstance(node, nodes.Call):
        if _called(node) == "in_words":
            return _name(node.args[0])
        return _name(node.node)
    if isinstance(node, nodes.Filter) and node.node is not None:
        return _name(node.node)
    if isinstance(node, nodes.BinExpr | nodes.Or | nodes.And):
        return _name(node.left)
    if isinstance(node, nodes.CondExpr):
        return _name(node.expr1)
    return "value"
