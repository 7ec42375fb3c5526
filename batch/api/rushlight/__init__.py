"""Dailies from log originals, in batch: what the commands do, as functions with the names of their options.

Nothing is printed and no signal handler is installed. What the caller gave wrong raises an InputError; every error of
rushlight's is a RushlightError. Each name is loaded when it is first used, so that this import costs next to nothing.
"""

from __future__ import annotations

import sys
from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rushlight.batch.api import day as day
    from rushlight.batch.api import queue as queue
    from rushlight.batch.api.cancel import Cancel as Cancel
    from rushlight.batch.api.catalogue import ShippedEncoding as ShippedEncoding
    from rushlight.batch.api.catalogue import ShippedRecipe as ShippedRecipe
    from rushlight.batch.api.catalogue import ShippedSchema as ShippedSchema
    from rushlight.batch.api.catalogue import encodings as encodings
    from rushlight.batch.api.catalogue import recipe as recipe
    from rushlight.batch.api.catalogue import recipes as recipes
    from rushlight.batch.api.catalogue import schema as schema
    from rushlight.batch.api.catalogue import schemas as schemas
    from rushlight.batch.api.check import CheckResult as CheckResult
    from rushlight.batch.api.check import check as check
    from rushlight.batch.api.doctor import Examination as Examination
    from rushlight.batch.api.doctor import doctor as doctor
    from rushlight.batch.api.grades import GradesResult as GradesResult
    from rushlight.batch.api.grades import grades as grades
    from rushlight.batch.api.handover import HandoverResult as HandoverResult
    from rushlight.batch.api.handover import handover as handover
    from rushlight.batch.api.handover import handovers as handovers
    from rushlight.batch.api.look import LookResult as LookResult
    from rushlight.batch.api.look import look as look
    from rushlight.batch.api.plan import PlanResult as PlanResult
    from rushlight.batch.api.plan import plan as plan
    from rushlight.batch.api.recipes import Answers as Answers
    from rushlight.batch.api.recipes import RecipeTrial as RecipeTrial
    from rushlight.batch.api.recipes import TestClips as TestClips
    from rushlight.batch.api.recipes import make_test_clips as make_test_clips
    from rushlight.batch.api.recipes import new_recipe as new_recipe
    from rushlight.batch.api.recipes import try_recipe as try_recipe
    from rushlight.batch.api.render import RenderResult as RenderResult
    from rushlight.batch.api.render import render as render
    from rushlight.batch.api.report import ReportResult as ReportResult
    from rushlight.batch.api.report import report as report
    from rushlight.batch.api.serve import Serving as Serving
    from rushlight.batch.api.serve import serve as serve
    from rushlight.batch.api.space import SpaceResult as SpaceResult
    from rushlight.batch.api.space import space as space
    from rushlight.batch.api.verify import VerifyResult as VerifyResult
    from rushlight.batch.api.verify import verify as verify
    from rushlight.pipelines.errors import CancelledError as CancelledError
    from rushlight.pipelines.errors import DeliveryError as DeliveryError
    from rushlight.pipelines.errors import InputError as InputError
    from rushlight.pipelines.errors import QueueError as QueueError
    from rushlight.pipelines.errors import ResourceError as ResourceError
    from rushlight.pipelines.errors import RushlightError as RushlightError
    from rushlight.pipelines.errors import SourceError as SourceError

_NAMES = {
    "rushlight.batch.api.cancel": ("Cancel",),
    "rushlight.batch.api.catalogue": (
        "ShippedEncoding",
        "ShippedRecipe",
        "ShippedSchema",
        "encodings",
        "recipe",
        "recipes",
        "schema",
        "schemas",
    ),
    "rushlight.batch.api.check": ("CheckResult", "check"),
    "rushlight.batch.api.doctor": ("Examination", "doctor"),
    "rushlight.batch.api.grades": ("GradesResult", "grades"),
    "rushlight.batch.api.handover": ("HandoverResult", "handover", "handovers"),
    "rushlight.batch.api.look": ("LookResult", "look"),
    "rushlight.batch.api.plan": ("PlanResult", "plan"),
    "rushlight.batch.api.recipes": (
        "Answers",
        "RecipeTrial",
        "TestClips",
        "make_test_clips",
        "new_recipe",
        "try_recipe",
    ),
    "rushlight.batch.api.render": ("RenderResult", "render"),
    "rushlight.batch.api.report": ("ReportResult", "report"),
    "rushlight.batch.api.serve": ("Serving", "serve"),
    "rushlight.batch.api.space": ("SpaceResult", "space"),
    "rushlight.batch.api.verify": ("VerifyResult", "verify"),
    "rushlight.pipelines.errors": (
        "CancelledError",
        "DeliveryError",
        "InputError",
        "QueueError",
        "ResourceError",
        "RushlightError",
        "SourceError",
    ),
}
_WHOLE = {"day": "rushlight.batch.api.day", "queue": "rushlight.batch.api.queue"}  # these are modules
_MODULES = {name: module for module, names in _NAMES.items() for name in names} | _WHOLE


def __getattr__(name: str) -> object:
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    if sys.platform in ("win32", "cygwin"):
        raise ImportError("rushlight does not support Windows; run it on Linux (macOS is untried)")
    place = _MODULES[name]
    module = import_module(place)
    found: object = module if name in _WHOLE else getattr(module, name)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(_MODULES)
