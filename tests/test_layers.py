"""Imports run one way: every module of the product, lazy imports and modules named in strings too, held to one table."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from functools import cache
from graphlib import CycleError, TopologicalSorter
from importlib.util import resolve_name
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
NAMED = re.compile(r"\brushlight(?:\.\w+)+")

# The rooms, lowest first. A room knows of itself and of those on lines above it, not of one on its own line.
LAYERS = (
    ("pipelines",),
    ("pipelines.formats", "pipelines.colour", "pipelines.manifests"),
    ("pipelines.originals", "pipelines.luts"),
    ("pipelines.sound",),
    ("pipelines.grading",),
    ("pipelines.card",),
    ("pipelines.recipe", "pipelines.outputs"),
    ("pipelines.job",),
    ("pipelines.measure", "pipelines.burnin"),
    ("pipelines.render",),
    ("batch.records",),
    ("batch",),
    ("batch.lists", "batch.check"),
    ("batch.cameras",),
    ("batch.decisions", "batch.sound"),
    ("batch.scenes", "batch.framing", "batch.looks"),
    ("batch.plan",),
    ("batch.day",),
    ("batch.queue", "batch.farm", "batch.room"),
    ("batch.verify",),
    ("batch.report",),
    ("batch.live",),
    ("batch.finish", "batch.look_pictures", "batch.tell", "batch.handover"),
    ("batch.due",),
    ("batch.run", "batch.serve", "batch.space"),
    ("batch.watch", "batch.again", "batch.doctor"),
    ("batch.api",),
    ("batch.terminal",),
    ("batch.printed",),
    ("batch.help",),
    ("batch.api.rushlight", "batch.cli"),  # the first is what `import rushlight` gives
)
RANK = {room: rank for rank, rooms in enumerate(LAYERS) for room in rooms}

# Who breaks the table today, to be ended; one that is gone must go from here as well.
DEBTS: set[tuple[str, str]] = set()


@cache
def modules() -> dict[str, Path]:
    """Every module of the product by its name; packages, whose text is a docstring, are among them."""
    found = {}
    for path in (p for top in ("pipelines", "batch") for p in sorted((ROOT / top).rglob("*.py"))):
        parts = path.relative_to(ROOT).with_suffix("").parts
        found[".".join(("rushlight", *(parts[:-1] if parts[-1] == "__init__" else parts)))] = path
    return found


def is_package(module: str) -> bool:
    return modules()[module].name == "__init__.py"


def room_of(module: str) -> str:
    name = module.removeprefix("rushlight.")
    return name if is_package(module) else name.rpartition(".")[0]


def named_in(module: str, source: str) -> Iterator[str]:
    """What a module's text imports, anywhere in it, and what of ours its strings name."""
    package = module if is_package(module) else module.rpartition(".")[0]
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            start = resolve_name("." * node.level + (node.module or ""), package)
            yield from (f"{start}.{alias.name}" for alias in node.names)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield from (name for name in NAMED.findall(node.value) if name != package)  # its own data files


def module_of(name: str) -> str | None:
    """The module of ours that a dotted name lies in; None for what is not ours."""
    parts = name.split(".")
    if parts[0] != "rushlight" or parts[1:2] == ["configs"]:
        return None
    ways = (".".join(parts[:end]) for end in range(len(parts), 0, -1))
    return next((way for way in ways if way in modules()), "rushlight")


@cache
def uses(module: str, source: str | None = None) -> frozenset[str]:
    """The modules of ours that a module knows of; `source` is its text, unless that is its file's."""
    text = modules()[module].read_text() if source is None else source
    found = {module_of(name) for name in named_in(module, text)} - {None}
    return frozenset(m for m in found if m and (m != module or is_package(m)))


def faults(module: str, source: str | None = None) -> list[tuple[str, str]]:
    """What a module knows of and may not: a room that is not below its own, or a whole package."""
    own = room_of(module)

    def allowed(other: str) -> bool:
        if other == "rushlight" or is_package(other):
            return False  # name the module: a package would hide which room is meant
        return room_of(other) == own or RANK[room_of(other)] < RANK[own]

    return [(module, other) for other in sorted(uses(module, source)) if not allowed(other)]


def test_every_module_has_a_room() -> None:
    """A new one lies in the folder of a room that the table has."""
    lost = [m for m in modules() if room_of(m) not in RANK]
    assert lost == []


def test_no_room_is_crowded() -> None:
    rooms = [room_of(m) for m in modules() if not is_package(m)]
    assert {room: n for room in set(rooms) if (n := rooms.count(room)) > 20} == {}


def test_imports_run_one_way() -> None:
    assert {fault for module in modules() for fault in faults(module)} == DEBTS


def test_there_is_no_circle() -> None:
    graph = {m: {o for o in uses(m) if (m, o) not in DEBTS} for m in modules()}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        pytest.fail(" -> ".join(error.args[1]))


@pytest.mark.parametrize(
    "wrong",
    [
        "from {package} import {name}",
        "from {module} import something",
        "import {module}",
        "import {module} as other",
        "def lazily():\n    from {module} import something",
        "if TYPE_CHECKING:\n    import {module}",
        "import importlib\nimportlib.import_module('{module}')",
        "WORK = '{module}:function'",
        "from {package} import *",
        "import rushlight",
    ],
)
def test_a_wrong_import_is_found_in_any_module(wrong: str) -> None:
    """Planted in each module: one of a room above its own."""
    rooms = {room_of(m): m for m in modules() if not is_package(m)}
    for module in modules():
        above = [r for r in rooms if RANK[r] > RANK[room_of(module)]]
        if above:
            other = rooms[min(above, key=RANK.__getitem__)]
            package, _, name = other.rpartition(".")
            planted = wrong.format(module=other, package=package, name=name)
            assert faults(module, planted), (module, planted)


def test_a_wrong_import_by_dots_is_found() -> None:
    highest = next(m for m in modules() if room_of(m) == "batch.cli" and not is_package(m))
    assert faults("rushlight.pipelines.errors", f"from ..{highest.removeprefix('rushlight.')} import main")


# ACES 2.0's arithmetic and direct evaluation: a stack of modules behind one door, but for its compiled form.
DOOR = "rushlight.pipelines.grading.display_transform"
STACK = {
    "rushlight.pipelines.colour.aces2_math",
    "rushlight.pipelines.colour.aces2_tables",
    "rushlight.pipelines.colour.aces2_unclamped",
    "rushlight.pipelines.grading.direct_evaluation",
    "rushlight.pipelines.grading.direct_evaluation_jit",
    "rushlight.pipelines.grading.error_cells",
}
COMPILED = ("rushlight.pipelines.grading.kernel", "rushlight.pipelines.grading.direct_evaluation_jit")


def round_the_door(module: str, source: str | None = None) -> set[tuple[str, str]]:
    """What a module knows of the stack and may not."""
    if module == DOOR or module in STACK:
        return set()
    return {(module, other) for other in uses(module, source) & STACK} - {COMPILED}


def test_direct_evaluation_has_one_door() -> None:
    assert set(modules()) >= STACK and uses(DOOR) & STACK
    assert {fault for module in modules() for fault in round_the_door(module)} == set()


@pytest.mark.parametrize("inside", sorted(STACK))
def test_who_goes_round_the_door_is_found(inside: str) -> None:
    module = "rushlight.pipelines.grading.bake"
    assert round_the_door(module, f"def lazily():\n    import {inside}") == {(module, inside)}


# Beside the API and the types of records, what the command line may know of: how it ends, whose the process is,
# signals, errors, words, and how a file is written inside a folder.
SPOKEN = {
    "rushlight.batch.exit_codes",
    "rushlight.batch.interrupts",
    "rushlight.batch.own_process",
    "rushlight.batch.shown_time",
    "rushlight.pipelines.counted",
    "rushlight.pipelines.errors",
    "rushlight.pipelines.inside_folder",
    "rushlight.pipelines.visible_text",
}


def beside_the_api(module: str, source: str | None = None) -> set[str]:
    """What a module of the command line knows of and may not."""
    rooms = ("batch.api", "batch.terminal", "batch.printed", "batch.help", "batch.cli", "batch.records")
    return {m for m in uses(module, source) if room_of(m) not in rooms and m not in SPOKEN}


def test_commands_are_written_on_the_api_alone() -> None:
    ours = [m for m in modules() if room_of(m) == "batch.cli"]
    assert {m: found for m in ours if (found := beside_the_api(m))} == {}


@pytest.mark.parametrize(
    "wrong",
    [
        "batch.run.render",
        "batch.run.event_stream",
        "batch.queue.store",
        "batch.report.pages",
        "batch.verify.deliveries",
        "batch.plan.prepare",
        "batch.job_log",
        "pipelines.recipe.model",
    ],
)
def test_a_command_that_goes_round_the_api_is_found(wrong: str) -> None:
    planted = f"def lazily():\n    import rushlight.{wrong}"
    for module in (m for m in modules() if room_of(m) == "batch.cli" and not is_package(m)):
        assert beside_the_api(module, planted) == {f"rushlight.{wrong}"}


def test_the_api_takes_no_view() -> None:
    """A public function of the API is all that its command calls: there is none beside it for the command line alone."""
    for module, path in modules().items():
        if room_of(module) == "batch.api" and not is_package(module):
            functions = [n for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.FunctionDef)]
            assert [f.name for f in functions if f.name.endswith("_told")] == []
            assert "rushlight.batch.cli" not in path.read_text()
