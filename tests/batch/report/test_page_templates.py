"""Pages: one policy that each of them carries, and nothing on them that it would stop or that hides."""

import re
from importlib import resources
from pathlib import Path

import numpy as np
import pytest

from browsers import looks, stopped
from pictures import frame_of, write_movie, write_picture
from rushlight.batch.records.verdicts import CheckVerdict
from rushlight.batch.report.page_templates import environment, policy, render_page


def templates() -> list[str]:
    return sorted(
        p.name
        for p in (resources.files("rushlight.batch.report") / "templates").iterdir()
        if p.name.endswith(".html")
    )


def test_every_template_is_on_the_one_page_with_the_policy() -> None:
    loader = environment().loader
    assert loader is not None
    for name in templates():
        text = loader.get_source(environment(), name)[0]
        assert name == "page.html" or text.startswith('{% extends "page.html" %}'), name
        assert not re.search(
            r"\sstyle=|\son[a-z]+=|javascript:|\|\s*safe|<(?!/?(br|h[1-6])\b)base\b", text
        ), name
    page = environment().from_string('{% extends "page.html" %}').render(title="<t>")
    assert page.index("Content-Security-Policy") < page.index("<style>") < page.index("&lt;t&gt;") + 1000
    assert stopped(page) == []


@pytest.mark.parametrize(
    ("inside", "said"),
    [
        ('<p style="color:red">', "style of p"),
        ("<b onclick='x()'>", "onclick of b"),
        ("<script>x()</script>", "script"),
        ("<script src='x.js'></script>", "script"),
        ("<style>b{}</style>", "style"),
        ("<a href='javascript:x()'>", "href of a"),
        ("<iframe src='x'></iframe>", "iframe"),
        ("<img src='https://example.org/x.png'>", "src of img"),
    ],
)
def test_what_a_policy_stops_is_found(inside: str, said: str) -> None:
    page = environment().from_string('{% extends "page.html" %}{% block body %}' + inside + "{% endblock %}")
    assert stopped(page.render(title="t")) == [said]


def test_nothing_hides_on_a_page() -> None:
    text = '{% extends "page.html" %}{% macro m(x) %}<i>{{ x }}</i>{% endmacro %}'
    text += '{% block body %}<p title="{{ a }}">{{ [a, a] | join(" ") }}{{ m(a) }}{{ n }}</p>{% endblock %}'
    page = environment().from_string(text).render(title="\x1b]0;x\x07", a="\u202e<b>\udcff", n=4)
    assert r"<title>\x1b]0;x\x07</title>" in page
    shown = r"\u202e&lt;b&gt;\udcff"
    assert f'<p title="{shown}">{shown} {shown}<i>{shown}</i>4</p>' in page
    page.encode()


def test_what_is_left_out_is_an_error() -> None:
    with pytest.raises(Exception, match="'title' is undefined"):
        render_page("page.html")


@pytest.mark.parametrize("browser", ["chromium", "firefox"])
def test_pictures_and_movies_load_from_the_disk_and_nothing_of_a_page_runs(
    browser: str, tmp_path: Path
) -> None:
    """A red picture, a blue movie; a style and a script of the page itself, which would paint it green."""
    for folder in ("report/pictures", "viewing"):
        (tmp_path / folder).mkdir(parents=True)
    red = np.zeros((200, 200, 3), np.uint8)
    red[..., 0] = 255
    write_picture(tmp_path / "report/pictures/red.png", red, "uint8")
    grey = np.ones((200, 200), np.uint8)
    blue = frame_of("yuv420p", grey * 30, grey[::2, ::2] * 240, grey[::2, ::2] * 110)
    write_movie(tmp_path / "viewing/blue.mp4", [blue] * 24, codec="libx264", timecode="")
    body = """<img src="pictures/red.png" alt=""><video src="../viewing/blue.mp4" muted autoplay></video>
      <p style="background:#0f0">style</p><script>document.body.style.background = "#0f0"</script>"""
    page = environment().from_string('{% extends "page.html" %}{% block body %}' + body + "{% endblock %}")
    place = tmp_path / "report" / "index.html"
    place.write_text(page.render(title="t"))
    seen = looks(browser, tmp_path, place.as_uri())

    def share(*colour: bool) -> float:
        return float(((seen > 0.8) == colour).all(-1).mean() * seen.shape[0] * seen.shape[1])

    assert share(True, False, False) > 35_000 and share(False, False, True) > 35_000
    assert share(False, True, False) == 0


def test_the_policy_asks_for_nothing_from_afar() -> None:
    assert policy().startswith("default-src 'none'; ") and "unsafe" not in policy() and "http" not in policy()


def test_a_verdict_that_has_lost_a_figure_is_shown_without_figures() -> None:
    """As a damaged log/verify.json leaves it."""
    source = environment().loader.get_source(environment(), "report.html")[0]  # type: ignore[union-attr]
    line = next(text for text in source.splitlines() if "check.unit" in text) + "{% endfor %}"
    check = {"verdict": "pass", "text": "as approved", "unit": "CIEDE2000", "p95": 1.5, "worst": 2.5}
    clip = {"checks": [("colour", CheckVerdict.read(check))]}
    shown = environment().from_string(line).render(clip=clip)
    assert "as approved" in shown and "1.5" not in shown
    whole = {"checks": [("colour", CheckVerdict.read({**check, "mean": 0.5}))]}
    assert "0.5 / 1.5 / 2.5" in environment().from_string(line).render(clip=whole)
