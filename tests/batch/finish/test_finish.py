"""The last step of a job: what it says of a segment whose side file is no use."""

from pathlib import Path

import pytest

from rushlight.batch.finish.finish import _side
from rushlight.pipelines.errors import DeliveryError, OptionError
from rushlight.pipelines.inside_folder import write
from rushlight.pipelines.job.from_spec import side_name
from rushlight.pipelines.job.spec import JobSpec, SegmentSpec


def test_a_side_file_that_is_gone_or_damaged_is_named(tmp_path: Path) -> None:
    job = JobSpec.model_construct(job="a-1", out=str(tmp_path), outputs=())
    segment = SegmentSpec(index=0, first=0, count=3)
    name = side_name(job, segment)
    with pytest.raises(DeliveryError) as gone:
        _side(job, segment)
    write(tmp_path, name, b"{")
    with pytest.raises(OptionError) as damaged:
        _side(job, segment)
    for error in (gone, damaged):
        assert str(error.value).startswith(f"{tmp_path / name}: ")
    assert gone.value.text == "No such file or directory"
