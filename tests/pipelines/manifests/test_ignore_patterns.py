"""Ignore patterns: git's rules one by one, and a well-kept library of gitignore as the judge."""

import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rushlight.pipelines.manifests.ignore_patterns import DEFAULT, IgnorePatterns


@pytest.mark.parametrize(
    ("patterns", "path", "out"),
    [
        (["*.tmp"], "a/b/x.tmp", True),
        (["*.tmp"], "a/x.tmp.mov", False),
        (["/x.mov"], "x.mov", True),
        (["/x.mov"], "a/x.mov", False),
        (["Clips/x.mov"], "Clips/x.mov", True),
        (["Clips/x.mov"], "a/Clips/x.mov", False),
        (["Proxy/"], "a/Proxy/x.mov", True),
        (["Proxy/"], "Proxy", False),  # a file
        (["**/Proxy/*.mov"], "a/b/Proxy/x.mov", True),
        (["a/**/x"], "a/x", True),
        (["a/**/x"], "a/b/c/x", True),
        (["a/**/"], "a/b", False),  # a file
        (["a/**/"], "a/b/c", True),
        (["a/**"], "a/b", True),
        (["a/**"], "a", False),
        (["*", "!*.mov"], "x.mov", False),
        (["a/", "!a/x.mov"], "a/x.mov", True),  # what lies in a folder that is left out stays out
        (["!x", "x"], "x", True),
        (["a?c"], "abc", True),
        (["a?c"], "a/c", False),
        (["a[0-9]"], "a7", True),
        (["a[!0-9]"], "a7", False),
        (["a[]]"], "a]", True),
        (["a[b"], "a[b", True),
        (["# x"], "# x", False),
        (["\\#x"], "#x", True),
        (["\\!x"], "!x", True),
        (["a\\*"], "ab", False),
        (["x  "], "x", True),
        (["x\\ "], "x ", True),
        (["", "   "], "x", False),
        (DEFAULT, "a/.DS_Store", True),
        (DEFAULT, "a/ascmhl/x.mhl", True),
    ],
)
def test_gits_rules(patterns: list[str], path: str, out: bool) -> None:
    assert IgnorePatterns(patterns).leaves_out(path) is out


NAMES = st.text("ab.*", min_size=1, max_size=4).filter(lambda n: set(n) != {"."})
PATTERN = st.lists(st.text("ab.*?", min_size=1, max_size=4) | st.just("**"), min_size=1, max_size=4).flatmap(
    lambda parts: st.tuples(st.sampled_from(("", "!", "/")), st.sampled_from(("", "/"))).map(
        lambda ends: ends[0] + "/".join(parts) + ends[1]
    )
)


@given(
    patterns=st.lists(PATTERN, min_size=1, max_size=4),
    path=st.lists(NAMES, min_size=1, max_size=4).map("/".join),
)
@example(patterns=["?", "!**", "?"], path="a")
def test_a_library_of_gitignore_says_the_same(patterns: list[str], path: str) -> None:
    """Asked as git does, folder by folder from the outermost, since the library looks at the whole path alone."""
    pathspec = pytest.importorskip("pathspec", reason="the library of gitignore, pathspec, is not installed")
    if any(re.search(r"[^/!]\*\*|\*\*[^/]|\*\*/$", pattern) for pattern in patterns):
        return  # two stars beside other signs, and `a/**/` of a file: git says so, and the library does not
    judge = pathspec.GitIgnoreSpec.from_lines(patterns)
    parts = path.split("/")
    asked = ["/".join(parts[:n]) + "/" for n in range(1, len(parts))] + [path]
    last = [
        next((bool(p.include) for p in reversed(judge.patterns) if p.match_file(a)), False) for a in asked
    ]
    assert IgnorePatterns(patterns).leaves_out(path) is any(last)


def test_hostile_patterns_take_no_time() -> None:
    """A regular expression of these would run for years."""
    stars = "*a" * 100 + "b"
    assert not IgnorePatterns([stars]).leaves_out("a" * 250)
    assert not IgnorePatterns(["/".join(["**", "a"] * 100) + "/b"]).leaves_out("/".join("a" * 100))
