"""A file that is too large is said to be so before it is sent; the form stays as it was typed, and a smaller one goes."""

import shutil

import pytest


@pytest.fixture
def page(chromium, serve, story, tmp_path, helpers):
    path = str(tmp_path / "shop.db")
    shutil.copy(story[0], path)
    served = serve(path, helpers["Clock"](story[1]["now"]))
    context = chromium.new_context(viewport={"width": 390, "height": 844}, base_url=served.address)
    page = context.new_page()
    page.set_default_timeout(20_000)
    page.goto("/who")
    with page.expect_navigation():
        page.get_by_role("button", name="Sam").click()
    yield page
    context.close()


def test_a_file_that_is_too_large_is_not_sent(page, names):
    sent = []
    page.on("request", lambda one: sent.append(one.url) if one.method == "POST" else None)
    page.goto(f"/do/attach?item={names['a']}&what=photograph")
    page.set_input_files(
        "main [type=file]",
        {"name": "drum.jpg", "mimeType": "image/jpeg", "buffer": b"x" * (25 * 1024 * 1024)},
    )
    page.locator("main button.main").click()
    page.get_by_text("larger than 24 MB, more than is taken at once").wait_for()
    assert sent == [] and page.url.split("?")[0].endswith("/do/attach")
    page.set_input_files(
        "main [type=file]", {"name": "drum.txt", "mimeType": "text/plain", "buffer": b"no picture"}
    )
    with page.expect_navigation():
        page.locator("main button.main").click()
    assert len(sent) == 1


def test_a_photograph_that_is_too_large_is_said_where_it_was_taken(page, names):
    """Twenty million bytes are what the server looks at; the next scan is read as on any other day."""
    sent = []
    page.on("request", lambda one: sent.append(one.url) if one.method == "POST" else None)
    page.goto(f"/cage/{names['line']}")
    page.set_input_files(
        "form.scan [type=file]", {"name": "tag.jpg", "mimeType": "image/jpeg", "buffer": b"x" * 20_000_001}
    )
    page.get_by_text("This photograph has 20.0 MB; at most 20 MB are taken.").wait_for()
    assert sent == [] and page.url.endswith(f"/cage/{names['line']}")
    assert page.evaluate("document.documentElement.dataset.heard") == "stop"
    with page.expect_navigation():
        page.keyboard.type(f"HTTP://X/I/{names['waiting']}")
        page.keyboard.press("Enter")
    assert page.url.endswith(f"/cage/{names['line']}?tire={names['waiting']}")
