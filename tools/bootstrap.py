"""Make .venv from a hashed lock with nothing but Python 3.11 or newer; do nothing when it is up to date.

Usage: python3 tools/bootstrap.py run|test
"""

import hashlib
import os
import pathlib
import subprocess
import sys

ROOT = pathlib.Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
PIP_WHEEL = ROOT / "tools" / "vendor" / "pip-26.3-py3-none-any.whl"
PIP_SHA256 = "f3b60b20ffaadd4415ed7957212a38ac63fa4c5fa375bd0f4a797777940fad13"


def main() -> int:
    if sys.version_info < (3, 11):  # noqa: UP036 - this runs before anything is set up
        print(f"Leadline needs Python 3.11 or newer; this is {sys.version.split()[0]}.", file=sys.stderr)
        return 2
    wanted = sys.argv[1] if len(sys.argv) > 1 else "run"
    if wanted not in ("run", "test"):
        print("Usage: python3 tools/bootstrap.py run|test", file=sys.stderr)
        return 2
    lock = ROOT / "requirements" / f"{wanted}.txt"
    mark = hashlib.sha256(lock.read_bytes() + sys.version.encode() + str(VENV).encode()).hexdigest()
    stamp = VENV / f"stamp-{wanted}"
    if stamp.exists() and stamp.read_text() == mark:
        return 0
    if wanted == "run" and (VENV / "stamp-test").exists():
        return 0  # the test set holds the run set
    print(f"Setting up .venv for '{wanted}' (once; about a minute) …", flush=True)
    if hashlib.sha256(PIP_WHEEL.read_bytes()).hexdigest() != PIP_SHA256:
        print(f"{PIP_WHEEL} is damaged; fetch the repository again.", file=sys.stderr)
        return 2
    # --without-pip: a bare Debian python3 has no ensurepip; the vendored wheel stands in for it
    subprocess.run([sys.executable, "-m", "venv", "--clear", "--without-pip", str(VENV)], check=True)
    python = VENV / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    env = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run(
        [
            str(python), f"{PIP_WHEEL}/pip", "install", "-qq", "--require-hashes", "--no-deps",
            "--disable-pip-version-check", "--compile", "-r", str(lock),
        ],
        check=True, env=env, cwd=ROOT,
    )  # fmt: skip
    site = subprocess.run(
        [str(python), "-c", "import sysconfig; print(sysconfig.get_path('purelib'))"],
        check=True, capture_output=True, text=True,
    ).stdout.strip()  # fmt: skip
    (pathlib.Path(site) / "leadline.pth").write_text(f"{ROOT / 'src'}\n")
    command = python.parent / "leadline"
    command.write_text(f"#!{python}\nimport sys\nfrom leadline.__main__ import main\nsys.exit(main())\n")
    command.chmod(0o755)
    stamp.write_text(mark)
    return 0


if __name__ == "__main__":
    sys.exit(main())
