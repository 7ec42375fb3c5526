"""Looks baked for workers to load, kept in an output folder under `log/inputs/looks` by digest, each with a small file that says of
which look it is."""

from __future__ import annotations

import os
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path
from typing import TYPE_CHECKING

from rushlight.pipelines.errors import RushlightError
from rushlight.pipelines.inside_folder import (
    file_name,
    make_folder,
    path_of,
    read_bytes,
    write_unless_same,
)
from rushlight.pipelines.job.spec import JobSpec, digest_of

if TYPE_CHECKING:
    from rushlight.pipelines.colour.look import Look, State
    from rushlight.pipelines.grading.bake import Baked
    from rushlight.pipelines.grading.lattice import Lattice

__all__ = ["bake_looks", "kept_look"]

LOOKS = "log/inputs/looks"


def bake_looks(out: Path, specs: list[JobSpec], kept: Path | None = None) -> list[JobSpec]:
    """Bake every look that a movie asks for and measure every look's patches, once; the jobs name the files.

    `kept`: an output folder whose baked looks are taken, where it has them. Looks that share no lattice are baked side by side.
    """
    from rushlight.pipelines.grading.bake import lattice_digest
    from rushlight.pipelines.job.from_spec import build_look
    from rushlight.pipelines.measure.look_patches import patches

    named = {digest_of(look.identity()): look for spec in specs for look in (spec.look, *spec.looks.values())}
    looks = {name: build_look(look, out) for name, look in named.items()}
    wanted: dict[str, tuple[Look, State, int]] = {}
    keys: list[dict[str, str]] = []
    for spec in specs:
        keys.append({})
        movies = [o for o in spec.outputs if spec.segments and o.make == "movie" and o.state != "log"]
        for output in sorted(movies, key=lambda o: o.look_key):
            shown = spec.look_of(output)
            key = keys[-1][output.look_key] = digest_of([shown.identity(), output.state])
            wanted[key] = (looks[digest_of(shown.identity())], output.state, shown.size)
    sharing: dict[str, list[str]] = {}
    for key, (look, state, size) in wanted.items():
        sharing.setdefault(lattice_digest(look, state, size), []).append(key)
    known: dict[str, str] = {}
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        parts = [
            pool.submit(_bake, out, {key: wanted[key] for key in group}, kept) for group in sharing.values()
        ]
        for part in as_completed(parts):
            known |= part.result()
    measured = {
        name: {"patches": patches(look), "no_light": float(look.working.encode(0.0))}
        for name, look in looks.items()
    }
    return [
        spec.model_copy(
            update={
                "baked": {name: known[key] for name, key in each.items()},
                **measured[digest_of(spec.look.identity())],
                "look_patches": {
                    name: measured[digest_of(look.identity())]["patches"] for name, look in spec.looks.items()
                },
            }
        )
        for spec, each in zip(specs, keys, strict=True)
    ]


def _bake(out: Path, wanted: Mapping[str, tuple[Look, State, int]], kept: Path | None) -> dict[str, str]:
    """Looks baked, one after another, into an output folder; where each is, from there."""
    from rushlight.pipelines.grading.bake import bake

    folder, found = make_folder(out, LOOKS), {}
    lattices: dict[str, Lattice] = {}
    for key, (look, state, size) in wanted.items():
        made = bake(look, state, size, lattices)
        name = ((kept and kept_look(kept, key, made)) or made).save(folder)
        write_unless_same(out, f"{LOOKS}/{key}.of", name.encode())
        found[key] = f"{LOOKS}/{name}"
    return found


def kept_look(kept: Path, key: str, made: Baked) -> Baked | None:
    """A look as it was baked when it was first delivered, so that its digest stays; None if that is not there, or is another
    look than `made`: nothing is taken by its name alone."""
    from rushlight.pipelines.grading.bake import load_baked, same_look

    try:
        name = file_name(read_bytes(kept, f"{LOOKS}/{key}.of").decode())
        found = load_baked(path_of(kept, f"{LOOKS}/{name}"))
    except (OSError, ValueError, RushlightError):
        return None
    return found if same_look(found, made) else None
