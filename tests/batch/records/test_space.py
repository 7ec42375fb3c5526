"""What is said of space: the policy in words, and what is refused."""

from __future__ import annotations

import pytest

from rushlight.batch.records.space import SpacePolicy
from rushlight.pipelines.errors import OptionError


def test_the_rule_in_words() -> None:
    assert SpacePolicy(keep_revisions=2, older_than=None).rule == "keep_revisions = 2"
    assert SpacePolicy(keep_revisions=0, older_than=30).rule == "keep_revisions = 0, older_than = 30 days"


@pytest.mark.parametrize(
    "value", [{"keep_revisions": -1, "older_than": None}, {"keep_revisions": 1, "older_than": 0}, {}]
)
def test_a_policy_that_is_none_is_refused(value: dict[str, object]) -> None:
    with pytest.raises(OptionError):
        SpacePolicy.read(value)
