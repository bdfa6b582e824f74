"""A letterhead is typed once and kept: by account, for who may write on reports, and gone with the farm."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.auth import Store, Viewer, letterheads
from evenfoot.dashboard.auth.forgetting import forget_farm, left_of
from evenfoot.dashboard.auth.letterheads import Letterhead
from evenfoot.dashboard.auth.people import add
from evenfoot.dashboard.auth.roles import ADVISER, TRIMMER
from evenfoot.dashboard.auth.viewer import OWNER

OWN = Letterhead("J. Moss", "1 Lane\nTown", b"png", "")
FARMER = Letterhead("A. Reed", mail="reed@example.org")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = Store(tmp_path / "a.sqlite")
    add(made, "Olive", "owner", password="a long enough phrase")
    add(made, "Kim", TRIMMER, farms=["Ash"], password="another long phrase")
    return made


KIM = Viewer("Kim", ("Ash",), TRIMMER, 2)


def test_it_is_kept_for_each_account_and_farm(store: Store) -> None:
    letterheads.keep(store, KIM, OWN)
    letterheads.keep(store, KIM, FARMER, "Ash")
    letterheads.keep(store, OWNER, Letterhead("Office"))
    assert letterheads.kept(store, KIM) == OWN and letterheads.kept(store, KIM, "Ash") == FARMER
    assert letterheads.kept(store, OWNER) == Letterhead("Office")
    assert letterheads.kept(store, OWNER, "Ash") == Letterhead()
    letterheads.keep(store, KIM, Letterhead())
    assert letterheads.kept(store, KIM) == Letterhead()


def test_who_may_not_write_on_reports_keeps_and_sees_none(store: Store) -> None:
    reader = Viewer("Kim", ("Ash",), ADVISER, 2)
    letterheads.keep(store, KIM, OWN)
    assert letterheads.kept(store, reader) == Letterhead()
    with pytest.raises(UserError, match="letterhead"):
        letterheads.keep(store, reader, Letterhead("x"))
    letterheads.keep(store, KIM, FARMER, "Elm")
    assert letterheads.kept(store, OWNER, "Elm") == letterheads.kept(store, KIM, "Elm") == Letterhead()


def test_it_goes_with_the_farm_and_with_the_account(store: Store) -> None:
    letterheads.keep(store, KIM, OWN)
    letterheads.keep(store, KIM, FARMER, "Ash")
    forget_farm(store, "Ash")
    assert letterheads.kept(store, KIM, "Ash") == Letterhead() and letterheads.kept(store, KIM) == OWN
    assert b"A. Reed" not in store.path.read_bytes() and left_of(store, "Ash") is None
    with store.open() as connection:
        connection.execute("DELETE FROM accounts WHERE id = 2")
    assert letterheads.kept(store, KIM) == Letterhead()


def test_a_file_of_an_older_layout_is_read_and_brought_up_to_date(store: Store) -> None:
    with sqlite3.connect(store.path) as connection:
        connection.executescript("DROP TABLE letterheads; PRAGMA user_version = 3")
    assert letterheads.kept(store, KIM) == Letterhead()
    letterheads.keep(store, KIM, OWN)
    assert letterheads.kept(store, KIM) == OWN


def test_a_file_that_is_just_being_made_holds_nothing_yet(tmp_path: Path) -> None:
    """Two fields are kept at once: while one thread lays the file out, another asks whether there are accounts."""
    store = Store(tmp_path / "new.sqlite")
    store.path.touch()
    assert not store.in_use and letterheads.kept(store, OWNER) == Letterhead()
    letterheads.keep(store, OWNER, OWN)
    assert letterheads.kept(store, OWNER) == OWN and not store.in_use
