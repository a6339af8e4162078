"""The commands of the counter, as a stranger runs them."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
import zipfile
from pathlib import Path

import pytest

SAMESTONE = str(Path(sys.executable).with_name("samestone"))
ALONE = {key: value for key, value in os.environ.items() if not key.startswith("SAMESTONE_")}


def run(*arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([SAMESTONE, *arguments], capture_output=True, text=True, check=False, env=ALONE)


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    folder = tmp_path_factory.mktemp("demo") / "data"
    played = run("demo", "--data", str(folder))
    assert played.returncode == 0, played.stderr
    return folder, played.stdout


def test_the_demo_tells_its_verdict_and_where_the_papers_are(demo: tuple[Path, str]) -> None:
    folder, said = demo
    assert "Verdict on 1042" in said
    left = [int(number) for number in re.findall(r"(\d+) after", said)]
    assert left == sorted(left, reverse=True), "each check leaves fewer stones"
    for name in ("receipt-1042.pdf", "statement-1042.pdf", "packet-1042.zip"):
        assert str(folder / "papers" / "1042" / name) in said
        assert (folder / "papers" / "1042" / name).stat().st_size > 10_000
    assert (folder / "key.pem").stat().st_mode & 0o077 == 0
    assert (folder / "secret").stat().st_mode & 0o077 == 0


def test_a_look_alike_does_not_reach_the_top(demo: tuple[Path, str]) -> None:
    said = demo[1]
    (rung,) = re.findall(r"1041: examined again .*: (.+)", said)
    assert rung != "agrees"


def test_played_twice_it_says_what_is_there(demo: tuple[Path, str]) -> None:
    again = run("demo", "--data", str(demo[0]))
    assert again.returncode == 0
    assert "played before; nothing was written" in again.stdout
    assert "packet-1042.zip" in again.stdout


def test_the_demo_leaves_a_real_shop_alone(tmp_path: Path) -> None:
    code = (
        "from pathlib import Path; import sys, datetime as dt;"
        "from samestone.cli.counter import open_data; open_data(Path(sys.argv[1]));"
        "from samestone.shop.site.actions import open_shop;"
        "open_shop(shop_name='Mine', street='', town='', name='A B', username='a', password='long enough x',"
        " at=dt.datetime.now(dt.UTC))"
    )
    subprocess.run([sys.executable, "-c", code, str(tmp_path / "mine")], check=True, env=ALONE)
    refused = run("demo", "--data", str(tmp_path / "mine"))
    assert refused.returncode == 2
    assert "belongs to Mine" in refused.stderr


def test_check_backup_and_verify_agree(demo: tuple[Path, str], tmp_path: Path) -> None:
    folder, _ = demo
    checked = run("check", "--data", str(folder))
    assert checked.returncode == 0, checked.stdout
    (folder / "photo-calibration.json").write_text("the shop's own", encoding="utf-8")
    copied = run("backup", str(tmp_path / "copy"), "--data", str(folder), "--without-key")
    (folder / "photo-calibration.json").unlink()
    assert copied.returncode == 0, copied.stderr
    assert (tmp_path / "copy" / "photo-calibration.json").read_text(encoding="utf-8") == "the shop's own"
    assert not (tmp_path / "copy" / "key.pem").exists()
    checked = run("check", "--data", str(tmp_path / "copy"))
    assert checked.returncode == 0, checked.stdout
    packet = str(folder / "papers" / "1042" / "packet-1042.zip")
    assert run("verify", packet).returncode == 0
    replayed = run("replay", packet)
    assert replayed.returncode == 0, replayed.stdout
    assert "The verdict comes out the same" in replayed.stdout
    assert "picture line on centre comes out the same, digit for digit" in replayed.stdout
    with zipfile.ZipFile(packet) as archive:
        (name,) = [name for name in archive.namelist() if name.endswith("data/record.json")]
        record = json.loads(archive.read(name))
    assert record["simulated"] is True, "whoever opens the packet is told"
    assert {one["name"] for one in record["photographs"]} == {
        Path(name).name for name in archive.namelist() if "/photographs/" in name
    }
    bad = run("check", "--data", str(folder), "--receipt", "12-0000-0000")
    assert bad.returncode == 2
    assert "--receipt" in bad.stderr


def test_a_touched_up_packet_of_the_demo_is_noticed(demo: tuple[Path, str], tmp_path: Path) -> None:
    with zipfile.ZipFile(demo[0] / "papers" / "1042" / "packet-1042.zip") as archive:
        archive.extractall(tmp_path / "unpacked")
    place = str(tmp_path / "unpacked")
    (record,) = (tmp_path / "unpacked").glob("*/data/record.json")
    sound = record.read_text(encoding="utf-8")
    touched_up = re.sub(r'"agree":(\d+)', lambda found: f'"agree":{int(found[1]) + 1}', sound, count=1)
    assert touched_up != sound
    record.write_text(touched_up, encoding="utf-8")
    replayed = run("replay", place)
    assert replayed.returncode == 1
    assert "✗ features in both" in replayed.stdout
    record.write_text(sound, encoding="utf-8")
    folder = record.with_name("photographs")
    shutil.copy(folder / "take-in-1-face-up.jpg", folder / "pick-up-1-face-up.jpg")
    replayed = run("replay", place)
    assert replayed.returncode == 1
    assert "pick-up-1-face-up.jpg is another picture" in replayed.stdout
    assert run("verify", place).returncode == 1


def test_a_port_that_cannot_be_is_refused(demo: tuple[Path, str]) -> None:
    refused = run("serve", "--data", str(demo[0]), "--port", "70000")
    assert refused.returncode == 2
    assert "from 1 to 65535" in refused.stderr


@pytest.mark.parametrize("command", [("serve",), ("demo", "--serve")], ids=["serve", "demo"])
def test_the_counter_answers_on_this_machine(demo: tuple[Path, str], command: tuple[str, ...]) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = subprocess.Popen(
        [SAMESTONE, *command, "--data", str(demo[0]), "--port", str(port)], stdout=subprocess.PIPE, env=ALONE
    )
    try:
        for _ in range(100):
            try:
                page = urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=20)
                break
            except OSError:
                time.sleep(0.2)
        assert page.url.endswith("/sign-in/?next=/")
        assert "Larkfield Goldsmiths" in page.read().decode()
        assert "default-src 'none'" in page.headers["Content-Security-Policy"]
        style = urllib.request.urlopen(f"http://127.0.0.1:{port}/static/css/look.css", timeout=20)
        assert style.headers["Content-Type"].startswith("text/css")
        again = run(*command, "--data", str(demo[0]), "--port", str(port))
        assert again.returncode == 2
        assert f"cannot listen on 127.0.0.1:{port}" in again.stderr and f"--port {port + 1}" in again.stderr
    finally:
        server.terminate()
        server.wait(20)
