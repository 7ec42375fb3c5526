"""The address with its token, names, certificates, and the code that a phone reads."""

from pathlib import Path

import pytest

from rushlight.batch.serve.serve_address import (
    ServeAddress,
    certificate,
    new_token,
    own_names,
    qr_code,
    reached_at,
)
from rushlight.pipelines.errors import OptionError


def test_an_address_holds_the_token() -> None:
    where = ServeAddress(host="192.0.2.7", port=8080, token="abc", encrypted=False, lan=True)
    assert where.url == "http://192.0.2.7:8080/abc/"
    assert ServeAddress(host="h", port=1, token="t", encrypted=True, lan=True).url == "https://h:1/t/"


def test_tokens_are_long_and_fit_an_address() -> None:
    tokens = {new_token() for _ in range(50)}
    assert len(tokens) == 50
    assert all(len(token) == 32 and token.replace("-", "").replace("_", "").isalnum() for token in tokens)


def test_names_of_this_machine_count_in_the_network_alone() -> None:
    assert own_names(lan=False, names=()) == ("localhost",)
    assert len(own_names(lan=True, names=())) == 3
    assert own_names(lan=False, names=("Cart.Example:99",))[-1] == "cart.example:99"


def test_the_host_that_people_are_told() -> None:
    assert reached_at(lan=False, names=()) == "127.0.0.1"
    assert reached_at(lan=True, names=("cart.example:99", "b")) == "cart.example"
    assert reached_at(lan=True, names=()) not in ("", "0.0.0.0")


def test_a_certificate_that_is_no_good_names_its_option(tmp_path: Path) -> None:
    assert certificate(None, None) is None
    (tmp_path / "x.pem").write_text("no certificate")
    for cert, key, text in (
        (tmp_path / "x.pem", None, "go together"),
        (None, tmp_path / "x.pem", "go together"),
        (tmp_path / "none.pem", tmp_path / "x.pem", "none.pem .* No such file"),
        (tmp_path / "x.pem", tmp_path / "x.pem", "--tls-cert .*x.pem with --tls-key"),
    ):
        with pytest.raises(OptionError, match=text):
            certificate(cert, key)


def test_a_code_for_a_phone_is_text_in_blocks() -> None:
    lines = qr_code("http://192.0.2.7:43210/" + "x" * 32 + "/").splitlines()
    assert len({len(line) for line in lines if line}) == 1 and len(lines[0]) < 60
    assert set("".join(lines)) <= set(" ▀▄█")
