"""Only the finish that counts gives files their final names."""

from pathlib import Path

import pytest

from rushlight.batch.queue.finish_token import let_finish, may_finish
from rushlight.pipelines.errors import DeliveryError


def test_the_last_one_that_was_let_counts(tmp_path: Path) -> None:
    let_finish(tmp_path, "a", "1-1")
    may_finish(tmp_path, "a", "1-1")
    let_finish(tmp_path, "a", "1-2")
    may_finish(tmp_path, "a", "1-2")
    for job, token in (("a", "1-1"), ("b", "1-1"), ("a", "")):
        with pytest.raises(DeliveryError, match="by another worker meanwhile"):
            may_finish(tmp_path, job, token)
