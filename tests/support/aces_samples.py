"""ACES Metadata Files for tests: the standard's samples and schema where they are, and small ones written by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

STANDARD = Path(__file__).resolve().parents[3] / "shared" / "standards" / "amf"
SAMPLES = sorted((STANDARD / "examples").glob("*.amf"))
V1, V2 = "urn:ampas:aces:transformId:v1.5:", "urn:ampas:aces:transformId:v2.0:"
UUID = "urn:uuid:0d3bd3b0-53f0-4c6e-9a38-3d1f0e4b5a01"


def need_standard() -> None:
    """Skip where the standard's schema and samples are not beside the checkout."""
    if not SAMPLES:
        pytest.skip(f"needs the AMF schema and samples in {STANDARD}")


def transform(tag: str, ident: str, *, applied: str = ' applied="false"') -> str:
    return f"<aces:{tag}{applied}><aces:transformId>{ident}</aces:transformId></aces:{tag}>"


def grade(
    space: str,
    *,
    slope: str = "1.1 1 0.95",
    offset: str = "0.01 0 -0.01",
    power: str = "1 1.2 1",
    saturation: str = "0.9",
    applied: str = "false",
    to_space: str = "",
) -> str:
    """A CDL in the space that the id `space` leads from."""
    to = transform("toCdlWorkingSpace", to_space, applied="") if to_space else ""
    return (
        f'<aces:lookTransform applied="{applied}"><aces:cdlWorkingSpace>{to}'
        f"{transform('fromCdlWorkingSpace', space, applied='')}</aces:cdlWorkingSpace>"
        f"<cdl:ASC_SOP><cdl:Slope>{slope}</cdl:Slope><cdl:Offset>{offset}</cdl:Offset><cdl:Power>{power}</cdl:Power>"
        f"</cdl:ASC_SOP><cdl:ASC_SAT><cdl:Saturation>{saturation}</cdl:Saturation></cdl:ASC_SAT></aces:lookTransform>"
    )


def look_file(name: str, *, applied: str = "false") -> str:
    return f'<aces:lookTransform applied="{applied}"><aces:file>{name}</aces:file></aces:lookTransform>'


def clip_id(name: str, file: str = "") -> str:
    return f"<aces:clipId><aces:clipName>{name}</aces:clipName><aces:file>{file or name}</aces:file></aces:clipId>"


def document(*pipeline: str, clip: str = "", version: str = "2.0") -> str:
    """An AMF of these elements of a pipeline."""
    info = (
        "<aces:dateTime><aces:creationDateTime>2026-05-04T18:00:00Z</aces:creationDateTime>"
        "<aces:modificationDateTime>2026-05-04T18:00:00Z</aces:modificationDateTime></aces:dateTime>"
        f"<aces:uuid>{UUID}</aces:uuid>"
    )
    major, minor = ("2", "0") if version == "2.0" else ("1", "3")
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        f'<aces:acesMetadataFile version="{version}" xmlns:aces="urn:ampas:aces:amf:v{version}" '
        'xmlns:cdl="urn:ASC:CDL:v1.01">'
        f"<aces:amfInfo>{info}</aces:amfInfo>{clip}<aces:pipeline><aces:pipelineInfo>{info}<aces:systemVersion>"
        f"<aces:majorVersion>{major}</aces:majorVersion><aces:minorVersion>{minor}</aces:minorVersion>"
        "<aces:patchVersion>0</aces:patchVersion></aces:systemVersion></aces:pipelineInfo>"
        f"{''.join(pipeline)}</aces:pipeline></aces:acesMetadataFile>"
    )
