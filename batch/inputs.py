"""What an output folder keeps under `log/inputs`, by digest: enough to make any part of it again.

List, recipe, defaults, show LUTs, fonts, and the baked looks that workers load.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

from rushlight.batch.prepare import Prepared
from rushlight.pipelines.recipe import MovieOutput, Recipe
from rushlight.pipelines.spec import JobSpec, digest_of

__all__ = ["bake_looks", "keep_inputs", "kept_fonts"]


def kept_fonts(recipe: Recipe) -> dict[str, str]:
    """Given font files of a recipe -> the name they are kept under."""
    from rushlight.pipelines.text import font_file

    found = {}
    for output in recipe.output:
        if isinstance(output, MovieOutput) and output.burnin and output.burnin.font:
            path = font_file(output.burnin.font)
            digest = hashlib.sha256(path.read_bytes()).hexdigest()[:40]
            found[output.burnin.font] = f"{digest}{path.suffix}"
    return found


def keep_inputs(prepared: Prepared, out: Path) -> None:
    """List, recipe, LUTs and fonts by digest under log/inputs: what is needed to make any of it again."""
    folder = out / "log" / "inputs"
    texts = {
        f"{_text_digest(prepared.list_text)}.list{_suffix(prepared)}": prepared.list_text,
        f"{_text_digest(prepared.recipe_text)}.recipe.toml": prepared.recipe_text,
        **{f"{digest.partition(':')[2]}.cube": text for digest, text in prepared.luts.texts.items()},
    }
    if defaults := prepared.defaults.text:
        texts[f"{_text_digest(defaults)}.defaults.toml"] = defaults
    for name, text in texts.items():
        _keep(folder / name, text.encode("utf-8", "surrogateescape"))
    for font, name in kept_fonts(prepared.recipe).items():
        from rushlight.pipelines.text import font_file

        _keep(folder / name, font_file(font).read_bytes())


def _suffix(prepared: Prepared) -> str:
    given = prepared.request.clip_list
    return ".csv" if given.is_dir() or not given.suffix else given.suffix


def _text_digest(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogateescape")).hexdigest()[:40]


def _keep(path: Path, data: bytes) -> None:
    if path.is_file():
        return
    path.parent.mkdir(parents=True, exist_ok=True)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    temporary.write_bytes(data)
    os.replace(temporary, path)


def bake_looks(out: Path, specs: list[JobSpec], on_baked: Callable[[int], None]) -> list[JobSpec]:
    """Bake every look that a movie asks for and measure every look's patches, once; the jobs name the files."""
    from rushlight.pipelines.bake import bake
    from rushlight.pipelines.measure import patches
    from rushlight.pipelines.resolve import build_look

    folder = out / "log" / "inputs" / "looks"
    known: dict[str, str] = {}
    measured: dict[str, dict[str, Any]] = {}
    found = []
    for spec in specs:
        baked: dict[str, str] = {}
        patched = digest_of(spec.look.identity())
        if patched not in measured:
            measured[patched] = patches(build_look(spec.look, out))
        for state in sorted({o.state for o in spec.outputs if o.make == "movie" and o.state != "log"}):
            key = digest_of([spec.look.identity(), state])
            if key not in known:
                look = build_look(spec.look, out)
                name = bake(look, state, spec.look.size, cache=out / ".work" / "lattices").save(folder)
                known[key] = f"log/inputs/looks/{name}"
                on_baked(len(known))
            baked[state] = known[key]
        found.append(spec.model_copy(update={"baked": baked, "patches": measured[patched]}))
    return found
