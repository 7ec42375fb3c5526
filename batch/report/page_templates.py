"""Pages from templates: every value escaped, nothing in it hidden, and one policy of what a page may load and run.

A template of `templates/` extends page.html, which has the head, the one style and the one script; it has no style attributes,
no handlers and no scripts of its own, which the policy would not let act.
"""

from __future__ import annotations

import base64
import hashlib
from functools import cache
from importlib import resources
from typing import TYPE_CHECKING

from rushlight.pipelines.visible_text import visible

if TYPE_CHECKING:
    import jinja2

__all__ = ["environment", "policy", "render_page"]


def render_page(template: str, **values: object) -> str:
    """A page of `templates/`, filled in; `title` is always needed. jinja2.UndefinedError for a value that is not given."""
    return environment().get_template(template).render(values)


def _text(name: str) -> str:
    return (resources.files("rushlight.batch.report") / "templates" / name).read_text("utf-8")


def policy() -> str:
    """The Content Security Policy (W3C, level 3) of every page: pictures and movies from beside it or in it, our style and our
    script known by their hashes, events of the server that it came from, and nothing else: no frame, form, plugin, nor anything
    from elsewhere."""
    return "; ".join(
        (
            "default-src 'none'",
            "img-src 'self' data:",
            "media-src 'self'",
            "connect-src 'self'",
            f"style-src '{_digest('page.css')}'",
            f"script-src '{_digest('page.js')}'",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )


def _digest(name: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(_text(name).encode()).digest()).decode()


@cache
def environment() -> jinja2.Environment:
    """The templates of `templates/`."""
    import jinja2
    from markupsafe import Markup

    from rushlight.batch.report.code_words import as_code

    made = jinja2.Environment(
        loader=jinja2.FunctionLoader(_text),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        finalize=lambda value: visible(value, lines=True) if type(value) is str else value,
    )
    made.filters["code"] = as_code
    made.globals |= {
        "policy": policy(),
        "style": Markup(_text("page.css")),
        "script": Markup(_text("page.js")),
    }
    return made
