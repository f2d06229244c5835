"""Certificates made with the openssl program: a good one, an expired one, one for another host, a self-signed one."""

from __future__ import annotations

import pathlib
import shutil
import ssl
import subprocess
from dataclasses import dataclass

import pytest

_CA_CONFIG = """
[ca]
default_ca = own
[own]
new_certs_dir = .
database = index.txt
serial = serial
default_md = sha256
policy = any
[any]
commonName = supplied
"""


@dataclass(frozen=True)
class Pair:
    certificate: pathlib.Path
    key: pathlib.Path

    def context(self) -> ssl.SSLContext:
        """For a server that shows this certificate."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(self.certificate, self.key)
        return context


class Certificates:
    """An authority of our own in a folder, and what it signed."""

    def __init__(self, folder: pathlib.Path) -> None:
        if shutil.which("openssl") is None:
            pytest.skip("the openssl program is missing: certificates cannot be made")
        self.folder = folder
        (folder / "index.txt").touch()
        (folder / "serial").write_text("1000\n")
        (folder / "ca.cnf").write_text(_CA_CONFIG)
        self._openssl(
            "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "30",
            "-keyout", "ca.key", "-out", "ca.pem", "-subj", "/CN=Invented authority",
            "-addext", "keyUsage=critical,keyCertSign,cRLSign",
        )  # fmt: skip
        self.ca_file = str(folder / "ca.pem")
        here = "DNS:localhost,IP:127.0.0.1"
        self.good = self._signed("good", here, ("-days", "20"))
        self.expired = self._signed("expired", here, ("-startdate", "20200101000000Z", "-enddate", "20200201000000Z"))
        self.elsewhere = self._signed("elsewhere", "DNS:other.example", ("-days", "20"))
        self.self_signed = self._self_signed("alone", here)

    def _signed(self, name: str, alt_names: str, dates: tuple[str, ...]) -> Pair:
        self._openssl(
            "req", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
            "-keyout", f"{name}.key", "-out", f"{name}.csr", "-subj", f"/CN={name}.invalid",
        )  # fmt: skip
        (self.folder / f"{name}.ext").write_text(
            f"subjectAltName={alt_names}\nauthorityKeyIdentifier=keyid\nsubjectKeyIdentifier=hash\n"
        )
        self._openssl(
            "ca", "-batch", "-notext", "-config", "ca.cnf", "-cert", "ca.pem", "-keyfile", "ca.key",
            "-in", f"{name}.csr", "-out", f"{name}.pem", "-extfile", f"{name}.ext", *dates,
        )  # fmt: skip
        return Pair(self.folder / f"{name}.pem", self.folder / f"{name}.key")

    def _self_signed(self, name: str, alt_names: str) -> Pair:
        self._openssl(
            "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes", "-days", "20",
            "-keyout", f"{name}.key", "-out", f"{name}.pem", "-subj", f"/CN={name}.invalid",
            "-addext", f"subjectAltName={alt_names}",
        )  # fmt: skip
        return Pair(self.folder / f"{name}.pem", self.folder / f"{name}.key")

    def _openssl(self, *words: str) -> None:
        done = subprocess.run(["openssl", *words], cwd=self.folder, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
