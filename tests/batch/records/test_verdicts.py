"""The document of `check` is held to its published schema, and has the words of the verdicts."""

import os
from pathlib import Path
from typing import get_args

from jsonschema import Draft202012Validator

import rushlight
from manifests import card, sealed
from rushlight.batch.check.check_media import Whole
from rushlight.batch.check.find_manifests import ManifestWord
from rushlight.batch.records.verdicts import CheckDocument, CheckedFile, CheckedManifest, counted_as
from rushlight.pipelines.manifests.verdicts import WORDS, Word


def test_the_words_are_those_of_the_verdicts() -> None:
    pairs = ((CheckDocument, Whole), (CheckedFile, Word), (CheckedManifest, ManifestWord))
    for model, words in pairs:
        assert set(get_args(model.model_fields["verdict"].annotation)) == set(get_args(words))
    assert set(WORDS) == set(get_args(Word))


def test_documents_are_of_their_schema(tmp_path: Path) -> None:
    root = card(tmp_path / "A", a_mov=b"1", b_mov=b"2")
    held = Draft202012Validator(rushlight.schema("check"))
    with open(os.fsencode(root) + b"/\xff.mov", "wb"):
        pass
    held.validate(rushlight.check(root).document())
    (root / "\udcff.mov").unlink()
    sealed(root)
    (root / "b.mov").unlink()
    held.validate(rushlight.check(root).document())


def test_damaged_frames_are_a_warning_at_least() -> None:
    for verdict, counted in (
        ("pass", "warn"),
        ("cannot tell", "warn"),
        ("warn", "warn"),
        ("fail", "fail"),
        ("", ""),
    ):
        assert counted_as(verdict, ["delivered with 1 damaged frame"]) == counted
        assert counted_as(verdict, []) == verdict
