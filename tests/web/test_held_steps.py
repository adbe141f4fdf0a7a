"""While a hold lies on it, or a recall keeps it, the large button of an item's page is not the one that the hold stops."""

import re

import pytest

from fillbook.trace.web.item.views import next_steps


def main_buttons(web, item):
    return re.findall(r'class="button main" href="([^"]+)"', web.get(f"/i/{item}").get_data(as_text=True))


def test_a_held_tote_is_not_hooked_up_from_its_page(web, names):
    tote = names["spare_b"]
    assert main_buttons(web, tote) == [f"/do/hook-up?tote={tote}"]
    web.do("hold", item=tote, why="its valve drips")
    assert main_buttons(web, tote) == ["/holds"]
    page = web.get(f"/i/{tote}").get_data(as_text=True)
    assert "/do/hook-up" not in page.partition("Something else happened")[0]
    assert "/do/hook-up" in page  # done with a lead's reason, it is still written where it belongs
    web.do("lift", item=tote, why="the valve was mended")
    assert main_buttons(web, tote) == [f"/do/hook-up?tote={tote}"]


def test_a_held_batch_is_not_loaded_from_its_page(web, names):
    batch = names["batch"]
    web.do("hold", item=batch, why="found damp")
    web_buttons = main_buttons(web, batch)
    assert web_buttons == ["/holds"]


def test_what_a_recall_keeps_leads_to_the_recall(web, names):
    tote = names["spare_a"]
    web.do("open recall", suspect=tote, why="the supplier called it back")
    assert main_buttons(web, tote) == [f"/recall/{web.last()['seq']}"]


@pytest.mark.parametrize("state", ["taken in", "soaking", "paused", "returned", "reclaimed"])
def test_a_held_tire_is_not_filled_cut_or_ground_at_a_touch(state):
    steps = next_steps("BHF2600001X", "F", state, held=True)
    assert [step.path for step in steps if step.main] == ["/holds"]
    assert len([step for step in next_steps("BHF2600001X", "F", state) if step.main]) == 1


def test_a_fill_under_way_is_finished_and_a_recalled_tire_may_be_cut_out():
    assert next_steps("BHF2600001X", "F", "filling", held=True)[0].words == "To the cage"
    assert next_steps("BHF2600001X", "F", "returned", held=True, recall=9)[0].words == "Cut its fill out"
