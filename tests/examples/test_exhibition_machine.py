"""The service file of the exhibition machine, held to systemd's own reading of it and to the command that it names."""

from __future__ import annotations

import configparser
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from wayside.commands.run import EXAMPLES
from wayside.live.showing import BACK_WITHIN_US, ENDS_WITHIN_US

ROOT = Path(__file__).parents[2]
FILE = ROOT / "examples" / "exhibition-machine" / "wayside-show.service"
QUAY = ROOT / "examples" / "pellbrook-quay"
TEXT = FILE.read_text(encoding="utf-8")


def settings() -> dict[str, str]:
    read = configparser.ConfigParser(interpolation=None)
    read.optionxform = str  # type: ignore[assignment,method-assign]
    read.read_string(TEXT)
    return dict(read["Service"])


def verified(folder: Path, text: str) -> str:
    """What systemd says of a service file, whose words in capitals are folders that there are."""
    analyze = shutil.which("systemd-analyze")
    if analyze is None:
        pytest.skip("no systemd-analyze on this computer")
    program = folder / "wayside-is-here" / ".venv" / "bin" / "wayside"
    program.parent.mkdir(parents=True, exist_ok=True)
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    unit = folder / "wayside-show.service"
    unit.write_text(text.replace("%h/WAYSIDE", str(folder / "wayside-is-here")).replace("%h/LAYOUT", str(QUAY)))
    runtime = folder / "runtime"
    runtime.mkdir(mode=0o700, exist_ok=True)
    environment = {**os.environ, "XDG_RUNTIME_DIR": str(runtime), "HOME": str(folder)}
    command = [analyze, "--user", "--man=no", "verify", str(unit)]
    done = subprocess.run(command, capture_output=True, text=True, env=environment, timeout=60)
    return done.stdout + done.stderr


def test_systemd_finds_nothing_wrong_with_it(tmp_path: Path) -> None:
    assert verified(tmp_path, TEXT) == ""


@pytest.mark.parametrize(
    ("good", "bad"), [("KillSignal=", "KilSignal="), ("=150", "=soon"), ("/.venv/bin/wayside run", "/bin/wayside run")]
)
def test_systemd_s_check_can_fail(tmp_path: Path, good: str, bad: str) -> None:
    assert good in TEXT
    assert verified(tmp_path, TEXT.replace(good, bad)) != ""


def test_its_command_performs_a_layout_and_its_end_is_a_good_one(tmp_path: Path) -> None:
    """The very words of the file, on a copy of the example, with nobody at the keyboard and the file's own signal."""
    service = settings()
    folder = shutil.copytree(QUAY, tmp_path / "quay", ignore=shutil.ignore_patterns("journal*", ".wayside"))
    words = service["ExecStart"].replace("%h/LAYOUT", str(folder)).split()
    assert words[0] == "%h/WAYSIDE/.venv/bin/wayside"
    command = [sys.executable, "-m", "wayside", *words[1:], "--dry-run", "--no-desk"]  # no hardware here
    assert service["StandardInput"] == "null"
    show = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, text=True, cwd=ROOT)
    try:
        assert show.stdout is not None
        said = show.stdout.readline()
        while "the show begins" not in said:
            said = show.stdout.readline()
        show.send_signal(signal.Signals[service["KillSignal"]])
        rest, _ = show.communicate(timeout=60)
    finally:
        show.kill()
        show.wait()
    assert show.returncode == 0
    assert "guarded outputs are made safe" in rest


def test_systemd_waits_longer_than_a_show_takes_to_end_and_restarts_what_may_get_better() -> None:
    service = settings()
    assert int(service["TimeoutStopSec"]) * 1_000_000 > ENDS_WITHIN_US + BACK_WITHIN_US
    assert service["Restart"] == "on-failure"  # a kill is one; an end with status 0 is none
    assert service["RestartPreventExitStatus"].split() == ["1", "2"]
    assert "1 the scenes have errors" in EXAMPLES
    assert "2 wrong usage" in EXAMPLES
