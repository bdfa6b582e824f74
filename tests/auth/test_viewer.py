"""Whoever nobody vouched for is nobody, and every act has its refusal."""

from __future__ import annotations

import pytest
from flask import Flask

from evenfoot.analytics.errors import UserError
from evenfoot.dashboard.auth.roles import ADVISER, MANAGER, MAY, OWNER, REFUSALS, ROLES, TRIMMER
from evenfoot.dashboard.auth.viewer import Viewer, current_viewer


def test_in_a_request_that_passed_no_door_one_is_nobody() -> None:
    with Flask("bare").test_request_context("/"):
        viewer = current_viewer()
        assert viewer.allowed == () and not viewer.sees("Home Farm")
        assert [act for act in MAY if viewer.may(act)] == ["read"]
    assert current_viewer().allowed is None and current_viewer().role == OWNER


def test_every_act_names_roles_and_says_its_refusal() -> None:
    assert set(MAY) == set(REFUSALS)
    for act, roles in MAY.items():
        assert OWNER in roles and roles <= set(ROLES), act
        for role in set(ROLES) - roles:
            with pytest.raises(UserError, match="Your account may not"):
                Viewer("x", ("Home Farm",), role).refuse_unless(act)


def test_the_table_of_the_readme_is_the_table_of_the_code() -> None:
    may = {role: {act for act in MAY if role in MAY[act]} for role in ROLES}
    assert may[ADVISER] == {"read"}
    assert may[MANAGER] == {"read", "record changes", "take imports back"}
    assert may[TRIMMER] == set(MAY) - {"set limits", "see every import"}
    assert may[OWNER] == set(MAY)
