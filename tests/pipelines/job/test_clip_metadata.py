"""Clip metadata by name: what is empty is not stated, what is hidden is written out."""

from hypothesis import given
from hypothesis import strategies as st

from rushlight.pipelines.job.clip_metadata import CLIP_METADATA, LONGEST, stated
from rushlight.pipelines.visible_text import visible


def test_what_is_empty_is_not_stated_and_nothing_else_is() -> None:
    given_ = {"take": " 3 ", "scene": "12A", "note": " ", "own": "x", "look": ""}
    assert list(stated(given_).items()) == [("scene", "12A"), ("take", "3")]


@given(
    st.dictionaries(st.sampled_from([*CLIP_METADATA, "other"]), st.text(max_size=80) | st.just("x" * 9000))
)
def test_any_text(values: dict[str, str]) -> None:
    found = stated(values)
    assert found.keys() <= CLIP_METADATA.keys()
    assert stated(found) == found
    for text in found.values():
        assert 0 < len(text) <= LONGEST and visible(text, lines=True) == text
