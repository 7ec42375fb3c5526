"""Other machines for farm tests: processes with an environment, home and folder of their own, and certificates."""

from __future__ import annotations

import datetime
import ipaddress
import json
import os
import signal
import subprocess
import sys
import time
import venv
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import psutil
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from rushlight.batch.farm.dask_cluster import connected
from rushlight.batch.farm.worker_options import Crew

WAIT = 90.0  # seconds for a process to come up on a busy machine


@dataclass(frozen=True, kw_only=True)
class Papers:
    """One machine's certificate, and the authority it trusts."""

    ca: Path
    cert: Path
    key: Path

    @property
    def dask(self) -> list[str]:
        """As the commands of Dask take them, and rushlight."""
        return ["--tls-ca-file", str(self.ca), "--tls-cert", str(self.cert), "--tls-key", str(self.key)]


def authority(folder: Path, *names: str) -> dict[str, Papers]:
    """An authority of one's own, and a certificate by it for each name."""
    folder.mkdir(parents=True)
    root_key = ec.generate_private_key(ec.SECP256R1())
    root_name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, f"farm of {folder.name}")])
    ca = folder / "ca.pem"
    ca.write_bytes(
        _certificate(root_name, root_key, root_name, root_key, ca=True).public_bytes(
            serialization.Encoding.PEM
        )
    )
    found = {}
    for name in names:
        key = ec.generate_private_key(ec.SECP256R1())
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
        made = _certificate(subject, key, root_name, root_key, ca=False)
        papers = Papers(ca=ca, cert=folder / f"{name}.pem", key=folder / f"{name}.key")
        papers.cert.write_bytes(made.public_bytes(serialization.Encoding.PEM))
        papers.key.write_bytes(
            key.private_bytes(
                serialization.Encoding.PEM,
                serialization.PrivateFormat.PKCS8,
                serialization.NoEncryption(),
            )
        )
        found[name] = papers
    return found


def _certificate(subject: Any, key: Any, issuer: Any, issuer_key: Any, *, ca: bool) -> x509.Certificate:
    now = datetime.datetime.now(datetime.UTC)
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - datetime.timedelta(days=1))
        .not_valid_after(now + datetime.timedelta(days=1))
        .add_extension(x509.BasicConstraints(ca=ca, path_length=None), critical=True)
        .add_extension(
            x509.SubjectAlternativeName([x509.IPAddress(ipaddress.ip_address("127.0.0.1"))]), critical=False
        )
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(issuer_key.public_key()), critical=False
        )
        .add_extension(_uses(ca), critical=True)
        .sign(issuer_key, hashes.SHA256())
    )


def _uses(ca: bool) -> x509.KeyUsage:
    names = ("content_commitment", "key_encipherment", "data_encipherment", "key_agreement", "encipher_only")
    no = dict.fromkeys((*names, "decipher_only"), False)
    return x509.KeyUsage(digital_signature=not ca, key_cert_sign=ca, crl_sign=ca, **no)


class Machine:
    """A virtual environment, home and working folder of its own. `prefix` is put ahead of its commands (`ip netns
    exec …`), `ahead` ahead of its packages; what it starts is ended at the end."""

    def __init__(
        self, folder: Path, *, prefix: Sequence[str] = (), ahead: Sequence[Path] = (), **env: str
    ) -> None:
        self.folder, self.prefix = folder, list(prefix)
        self.started: list[subprocess.Popen[bytes]] = []
        (folder / "home").mkdir(parents=True)
        (folder / "here").mkdir()
        venv.create(folder / "venv", with_pip=False, symlinks=True)
        self.python = folder / "venv" / "bin" / "python"
        site = next((folder / "venv" / "lib").glob("python*/site-packages"))
        paths = [*ahead, *(p for p in sys.path if p and Path(p).is_dir())]
        (site / "others.pth").write_text("".join(f"{p}\n" for p in paths))
        keep = {n: os.environ[n] for n in ("PATH", "NUMBA_CACHE_DIR", "TMPDIR", "LANG") if n in os.environ}
        self.env = {**keep, "HOME": str(folder / "home"), "PYTHONWARNINGS": "ignore", **env}

    def start(self, *command: object) -> subprocess.Popen[bytes]:
        log = (self.folder / f"{len(self.started)}.log").open("w")
        process = subprocess.Popen(
            [*self.prefix, *map(str, command)],
            cwd=self.folder / "here",
            env=self.env,
            stdout=log,
            stderr=log,
            start_new_session=True,
        )
        log.close()
        self.started.append(process)
        return process

    def scheduler(self, papers: Papers | None, host: str = "127.0.0.1") -> str:
        """`dask scheduler`; gives its address."""
        place = self.folder / "scheduler.json"
        tls = ["--protocol", "tls", *papers.dask] if papers else []
        process = self.start(
            self.python, "-m", "dask", "scheduler", "--host", host, "--port", 0,
            "--no-dashboard", "--scheduler-file", place, *tls,
        )  # fmt: skip
        deadline = time.monotonic() + WAIT
        while time.monotonic() < deadline and process.poll() is None:
            if place.exists() and place.read_text().endswith("}"):
                return str(json.loads(place.read_text())["address"])
            time.sleep(0.1)
        raise AssertionError(self.said())

    def workers(self, scheduler: str, papers: Papers | None, count: int = 1, *more: object) -> Any:
        """`dask worker`, with so many processes."""
        return self.start(
            self.python, "-m", "dask", "worker", scheduler, *(papers.dask if papers else ()),
            "--nworkers", count, "--nthreads", 1, "--no-dashboard",
            "--local-directory", self.folder / "here", *more,
        )  # fmt: skip

    def said(self) -> str:
        """What its processes have said so far."""
        return "".join(p.read_text(errors="replace") for p in sorted(self.folder.glob("*.log")))

    def off(self, how: int = signal.SIGKILL) -> None:
        """All its processes at once, as by the mains."""
        for process in self.started:
            if process.poll() is None:
                everybody = [psutil.Process(process.pid)]
                everybody += everybody[0].children(recursive=True)
                for one in everybody:
                    try:
                        one.send_signal(how)
                    except psutil.NoSuchProcess:
                        pass
                process.wait(timeout=30)


def crew(address: str, papers: Papers) -> Crew:
    return Crew(scheduler=address, tls_ca_file=papers.ca, tls_cert=papers.cert, tls_key=papers.key)


def there(address: str, papers: Papers, count: int) -> None:
    """Wait until so many workers are at the scheduler, those of an earlier test gone."""
    client = connected(address, crew(address, papers).security())
    try:
        deadline = time.monotonic() + WAIT
        while len(client.scheduler_info()["workers"]) != count:
            assert time.monotonic() < deadline, client.scheduler_info()
            time.sleep(0.1)
    finally:
        client.close()


class Network:
    """Hosts of their own on this machine: network namespaces, each joined to us by a pair of interfaces. Root only."""

    def __init__(self) -> None:
        self.mark = f"rl{os.getpid() % 10000}"
        self.hosts: list[str] = []

    def host(self) -> tuple[str, str, str]:
        """A new host: the namespace's name, our address as it sees us, its own. OSError where that may not be done."""
        number = len(self.hosts)
        name, ours, theirs = f"{self.mark}n{number}", f"{self.mark}a{number}", f"{self.mark}b{number}"
        self.hosts.append(name)
        us, it = f"10.213.{number}.1", f"10.213.{number}.2"
        for line in (
            f"netns add {name}",
            f"link add {ours} type veth peer name {theirs}",
            f"link set {theirs} netns {name}",
            f"addr add {us}/24 dev {ours}",
            f"link set {ours} up",
            f"-n {name} addr add {it}/24 dev {theirs}",
            f"-n {name} link set {theirs} up",
            f"-n {name} link set lo up",
            f"-n {name} route add default via {us}",
        ):
            done = subprocess.run(["ip", *line.split()], capture_output=True, text=True)
            if done.returncode:
                raise OSError(f"ip {line}: {done.stderr.strip()}")
        return name, us, it

    def cut(self, number: int, state: str = "down") -> None:
        """Pull the cable of a host, or plug it in again."""
        subprocess.run(["ip", "link", "set", f"{self.mark}a{number}", state], check=True)

    def close(self) -> None:
        for number, name in enumerate(self.hosts):
            for line in (f"link delete {self.mark}a{number}", f"netns delete {name}"):
                subprocess.run(["ip", *line.split()], capture_output=True)
