"""Help inside: every job has its page, its drawing and its cautions; every place leads to its job; and who comes first is always said."""

import re
from xml.etree import ElementTree

import pytest

from fillbook import resource
from fillbook.trace.web.help.jobs import AT, BY_NAME, DANGERS, JOBS, OF_VERB
from fillbook.trace.work import registry

FIRST = "Local codes, the supplier's data sheets, the makers' ratings and licensed practice come before"


@pytest.mark.parametrize("job", JOBS, ids=lambda job: job.name)
def test_every_job_has_its_page_drawing_and_who_comes_first(web, helpers, job):
    answer = web.get(f"/help/{job.name}")
    words = web.words(answer)
    assert FIRST in words and job.title in words and all(step.split(".")[0] in words for step in job.steps)
    assert 'class="drawing"' in answer.text and job.picture
    for name in job.dangers:
        assert DANGERS[name][:60] in words
    for _, path in job.done_at:
        web.get(path)
    assert 3 <= len(job.steps) <= 6 and all(len(step) < 420 for step in job.steps)


@pytest.mark.parametrize("job", JOBS, ids=lambda job: job.name)
def test_a_drawing_is_ours_alone_small_and_takes_the_pages_colours(job):
    text = resource(f"static/help/{job.name}.svg").read_text(encoding="utf-8")
    root = ElementTree.fromstring(text)
    assert len(text) < 2_500
    css = resource("static/fillbook.css").read_text(encoding="utf-8")
    for part in root.iter():
        tag = part.tag.rsplit("}", 1)[-1]
        assert tag in ("svg", "path", "rect", "circle", "g", "text"), tag
        assert not set(part.attrib) & {"style", "fill", "stroke", "href", "onload"}, part.attrib
        for name in part.get("class", "").split():
            assert re.search(rf"\.{name}\b", css), name


# What can hurt in the trade's work, common practice throughout; each job that has it must say it.
@pytest.mark.parametrize(
    ("job", "parts"),
    [
        ("receive", ("isocyanate", "vapour", "touch", "gloves")),
        ("hook-up", ("isocyanate", "pressure")),
        (
            "fill",
            ("Cage", "lowest rating", "multi-piece rim", "Never drill a tire that is full", "isocyanate"),
        ),
        ("cure", ("heats while it cures", "lift, roll or mount nothing that is not released")),
        ("grind", ("Take load and pressure off", "has not set still holds side A")),
        ("release", ("heats", "multi-piece rim")),
        ("send", ("pressure", "multi-piece rim")),
    ],
)
def test_where_the_work_can_hurt_it_is_said(web, job, parts):
    words = web.words(web.get(f"/help/{job}"))
    for part in parts:
        assert part in words, part


def test_a_figure_of_common_practice_says_so(web):
    # figures without a published source: 72 degF store and cure, 24 h new tire at operating pressure, 65 % regrind, 30 % venting, 12 in pieces, pump once a week
    for job in JOBS:
        for step in job.steps:
            if re.search(r"72 °F|65 %|30 %|12 in\b|24 h|once a week|48 h", step):
                assert "common practice" in step, (job.name, step)


def test_every_place_leads_to_how_it_is_done(web, names):
    for path, job in (
        ("/dock", "receive"), ("/cage", "fill"), (f"/cage/{names['line']}", "fill"), ("/racks", "cure"), ("/desk", "release"), ("/regrind", "grind"),
        ("/holds", "hold"), ("/recall", "hold"), ("/identify", "send"), ("/labels", "labels"), ("/book", "backup"), ("/who", "people"),
        ("/do/hook-up", "hook-up"), ("/do/log-temperatures", "loggers"), ("/do/dispatch", "send"),
    ):  # fmt: skip
        text = web.get(path).text
        assert text.count("How this is done") == 1 and f'<a class="how" href="/help/{job}">' in text, path
    assert 'href="/help"' in web.get("/").text


def test_every_named_job_place_and_verb_is_there(web):
    assert set(AT.values()) | set(OF_VERB.values()) <= set(BY_NAME)
    assert set(OF_VERB) <= set(registry.everything())
    assert set(BY_NAME) == set(AT.values()) | set(OF_VERB.values())


def test_help_on_nothing_is_told(web):
    assert "There is no help on" in web.said(web.get("/help/juggling", status=404))


def test_the_helps_are_all_listed_and_light(web):
    text = web.get("/help").text
    assert all(f'href="/help/{job.name}"' in text for job in JOBS)
