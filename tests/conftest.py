"""What every test may ask for: ``shop``, an invented shop with its book in a real file."""

import importlib.util
from pathlib import Path

import pytest

_spec = importlib.util.spec_from_file_location("the_shop", Path(__file__).with_name("the_shop.py"))
the_shop = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(the_shop)


@pytest.fixture(scope="session")
def _furnished(tmp_path_factory):
    made = the_shop.Shop.start(str(tmp_path_factory.mktemp("furnished") / "shop.db"))
    made.book.db.close()
    return made


@pytest.fixture
def shop(_furnished, tmp_path):
    """A shop with people, two systems, two lines and two zones, and a clock that stands at a Monday morning."""
    made = _furnished.copied(str(tmp_path / "shop.db"))
    yield made
    made.book.db.close()


@pytest.fixture
def checked_shop(shop):
    """The same, whose journal and tables are checked when the test is over."""
    yield shop
    shop.check()


@pytest.fixture
def new_shop(tmp_path):
    """Makes further shops: ``new_shop("other.db", empty=True)``."""
    made = []

    def make(name, **how):
        where = name if name == ":memory:" or "://" in name else str(tmp_path / name)
        made.append(the_shop.Shop.start(where, **how))
        return made[-1]

    yield make
    for one in made:
        one.book.db.close()


@pytest.fixture(scope="session", name="the_shop")
def _the_shop():
    """The builder itself, for tests that share one shop."""
    return the_shop
