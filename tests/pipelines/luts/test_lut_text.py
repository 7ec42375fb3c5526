"""Each fault that readers of LUT files take silently is refused here, with its line."""

import pytest

from rushlight.pipelines.errors import LutError
from rushlight.pipelines.luts.lut_text import check_rows, check_xml, narrow_range_lines

HEAD = '<ProcessList id="x" compCLFversion="3">\n'
CURVE = '<LUT1D inBitDepth="32f" outBitDepth="32f"><Array dim="2 1">\n0\n1\n</Array></LUT1D>\n'
END = "</ProcessList>\n"
SPI3D = "SPILUT 1.0\n3 3\n2 2 2\n" + "".join(f"{k // 4} {k // 2 % 2} {k % 2} 0 0.5 1\n" for k in range(8))
SPI1D = "Version 1\nFrom 0.0 1.0\nLength 2\nComponents 1\n{\n 0.0\n 1e0\n}\n"
CURVE_ROWS = "2\n0 1\n0 1\n"
CSP = f"CSPLUTV100\n1D\n\nBEGIN METADATA\nany 0,5 nan words\nEND METADATA\n\n{CURVE_ROWS * 3}\n2\n0 0 0\n1 1 1\n"


@pytest.mark.parametrize(("text", "suffix"), [(SPI3D, ".spi3d"), (SPI1D, ".spi1d"), (CSP, ".csp")])
def test_good_rows_pass(text: str, suffix: str) -> None:
    check_rows(text, suffix)
    check_rows(text.replace("\n", "\r\n"), suffix)


@pytest.mark.parametrize(
    ("text", "suffix", "words", "line"),
    [
        (SPI3D.replace("0 0 1 0 0.5 1", "0 0 1 0 nan 1"), ".spi3d", "finite numbers, found 'nan'", 5),
        (SPI3D.replace("0 0 1 0 0.5 1", "0 0 1 0 0,5 1"), ".spi3d", "decimal point, not a comma", 5),
        (SPI3D.replace("0 0 1 0 0.5 1", "0 0 0 0 0.5 1"), ".spi3d", "the point 0 0 0 twice", 5),
        (SPI3D.replace("SPILUT", "LUT"), ".spi3d", "begins with 'LUT 1.0'", 1),
        (SPI1D.replace("1e0", "inf"), ".spi1d", "found 'inf'", 7),
        (SPI1D.replace("1e0", "1e999"), ".spi1d", "found '1e999'", 7),
        (SPI1D.replace("From 0.0 1.0", "From 0,0 1,0"), ".spi1d", "not a comma", 2),
        (CSP.replace("1 1 1", "0,5 1 1"), ".csp", "not a comma", 20),
        (CSP + "0 0 0\n", ".csp", r"more rows than its size says \(2\)", 21),
        (CSP.replace("2\n0 1", "2\n1 0", 1), ".csp", "inputs of its red curve do not rise", 9),
        (SPI3D + "5 5 5 0 0 0\n", ".spi3d", "5 5 5, beyond its size", 12),
        (SPI1D.replace("From 0.0 1.0", "From 1.0 0.0"), ".spi1d", "goes down", 2),
        ("", ".csp", "begins with ''", 1),
    ],
)
def test_a_fault_of_rows(text: str, suffix: str, words: str, line: int) -> None:
    with pytest.raises(LutError, match=words) as caught:
        check_rows(text, suffix, file="x")
    assert (caught.value.file, caught.value.line) == ("x", line)


def matrix(more: str = "") -> str:
    return f'<Matrix inBitDepth="32f" outBitDepth="32f"{more}><Array dim="3 3">1 0 0 0 1 0 0 0 1</Array></Matrix>'


@pytest.mark.parametrize(
    ("text", "words", "line"),
    [
        (HEAD + CURVE, "not whole XML", 6),
        (HEAD + CURVE.replace("\n1\n", "\nnan\n") + END, "found 'nan'", 4),
        (HEAD + CURVE.replace("\n1\n", "\n0,5\n") + END, "not a comma", 4),
        (HEAD + CURVE.replace("<Array", '<IndexMap dim="2">0@0 1@1</IndexMap><Array') + END, "IndexMap", 2),
        (HEAD + '<Reference path="other.clf"/>' + END, "another file by a Reference", 2),
        (HEAD + "<Glow/>" + END, "has a node 'Glow'", 2),
        (HEAD + matrix(' bypass="true"') + END, "bypassed", 2),
        (HEAD + CURVE.replace("<LUT1D", '<LUT1D interpolation="cubic"') + END, "'cubic' interpolation", 2),
        (HEAD + END, "has no node", None),
        ("<ColorDecision/>", "is a 'ColorDecision' document", 1),
        ('<!DOCTYPE x [<!ENTITY a "b">]>\n' + HEAD + CURVE + END, "DOCTYPE", 1),
        (HEAD + '<Range inBitDepth="32f" outBitDepth="32f"><minInValue>nan</minInValue></Range>', "'nan'", 2),
        (HEAD + '<Log style="linToLog">\n<LogParams base="1,5"/></Log>', "not a comma", 3),
        ("LUT_3D_SIZE 2\n", "not whole XML", 1),
    ],
)
def test_a_fault_of_a_clf(text: str, words: str, line: int | None) -> None:
    with pytest.raises(LutError, match=words) as caught:
        check_xml(text.encode(), ".clf", file="x.clf")
    assert (caught.value.file, caught.value.line) == ("x.clf", line)


def test_good_documents_pass() -> None:
    old = HEAD.replace('"3"', '"2.0"')
    indexed = CURVE.replace("<Array", '<IndexMap dim="2">0@0 1@1</IndexMap><Array')
    half = CURVE.replace("<LUT1D", '<LUT1D halfDomain="true"').replace("\n1\n", "\nnan\n")
    spaced = '<ProcessList id="x" compCLFversion="3" xmlns="http://www.smpte-ra.org/ns/2136-1/2024">'
    for text in (HEAD + CURVE + END, old + indexed + END, HEAD + half + END, spaced + matrix() + END):
        check_xml(text.encode(), ".clf")


def test_ctf_has_more_nodes() -> None:
    text = b'<ProcessList id="x" version="2.0"><ExposureContrast/></ProcessList>'
    check_xml(text, ".ctf")
    with pytest.raises(LutError, match="ExposureContrast"):
        check_xml(text, ".clf")


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("LUT_OUT_LEGAL_RANGE", True),
        ("input_narrow_levels 1", True),
        ("IN_SMPTE_RANGE true", True),
        ("LUT_IN_LEGAL_RANGE 0", False),
        ("LUT_3D_INPUT_RANGE 0.0 1.0", False),
        ("# made for legal range monitors", False),
        ('TITLE "legal range"', False),
    ],
)
def test_keywords_that_say_narrow_range(line: str, says: bool) -> None:
    assert narrow_range_lines(f"LUT_3D_SIZE 2\n{line}\n") == ([(2, line)] if says else [])
