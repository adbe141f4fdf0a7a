"""Printing: a real IPP printer (CUPS's ippeveprinter), a made-up one for its troubles, and the queue through lp."""

import importlib.util
import os
import shutil
import socket
import subprocess
import time
from pathlib import Path

import pytest

from fillbook.labels import printing
from fillbook.labels.layout import pages
from fillbook.labels.pdf import make_pdf
from fillbook.labels.printing import NotAccepted, printer, send
from fillbook.trace.core.errors import Nonsense

_spec = importlib.util.spec_from_file_location("fake_ipp", Path(__file__).with_name("fake_ipp.py"))
fake_ipp = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(fake_ipp)


@pytest.fixture
def fake():
    made = []

    def make(*args, **how):
        made.append(fake_ipp.FakePrinter(*args, **how))
        return made[-1]

    yield make
    for one in made:
        one.close()


@pytest.fixture
def three(a_label):
    return [a_label("tote label 3x2 in", serial=serial) for serial in (11, 31, 51)]


def listening(port: int) -> bool:
    with socket.socket() as line:
        line.settimeout(0.2)
        return line.connect_ex(("127.0.0.1", port)) == 0


def answering(path: str) -> bool:
    """Whether somebody is behind this socket; the file alone may be left over."""
    with socket.socket(socket.AF_UNIX) as line:
        return line.connect_ex(path) == 0


def free_port() -> int:
    with socket.socket() as line:
        line.bind(("127.0.0.1", 0))
        return line.getsockname()[1]


def missing(what: str):
    """Without the parts of a real printer the test is skipped, saying why; where all of it must be there, it fails."""
    if os.environ.get("CI"):
        pytest.fail(what)
    pytest.skip(what)


@pytest.fixture(scope="module")
def real_printer(tmp_path_factory):
    """ippeveprinter on a free port, and the folder of what it printed. It insists on Avahi, and Avahi on D-Bus: where neither
    runs and we may, both are started for the while, bound to this machine alone."""
    tool = shutil.which("ippeveprinter") or shutil.which("ippeveprinter", path="/usr/sbin:/sbin")
    if tool is None:
        missing("ippeveprinter is not installed (Debian: cups-ipp-utils)")
    where = tmp_path_factory.mktemp("printer")
    running: list[subprocess.Popen] = []

    def start(*command: str) -> subprocess.Popen:
        running.append(subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL))
        return running[-1]

    keep = where / "keep.sh"
    out = where / "printed"
    out.mkdir()
    keep.write_text(f'#!/bin/sh\ncp "$1" "{out}/$(ls {out} | wc -l).pdf"\n')
    keep.chmod(0o755)
    port = free_port()
    command = [
        tool,
        "-p",
        str(port),
        "-n",
        "localhost",
        "-r",
        "off",
        "-d",
        str(where),
        "-c",
        str(keep),
        "-f",
        "application/pdf",
        "dock",
    ]

    def up(one: subprocess.Popen) -> bool:
        until = time.monotonic() + 5
        while time.monotonic() < until and one.poll() is None:
            if listening(port):
                return True
            time.sleep(0.05)
        return False

    ready = up(start(*command))
    daemons = [
        shutil.which(name, path=os.environ["PATH"] + ":/usr/sbin:/sbin")
        for name in ("dbus-daemon", "avahi-daemon")
    ]
    if not ready and os.geteuid() == 0 and all(daemons):
        Path("/run/dbus").mkdir(parents=True, exist_ok=True)
        conf = where / "avahi.conf"
        conf.write_text("[server]\nallow-interfaces=lo\nuse-ipv6=no\n")
        if not answering("/run/dbus/system_bus_socket"):
            start(daemons[0], "--system", "--nofork", "--nopidfile")
            time.sleep(0.5)
        start(daemons[1], "-f", str(conf), "--no-chroot", "--no-drop-root")
        time.sleep(1)
        ready = up(start(*command))
    if ready:
        yield f"ipp://localhost:{port}/ipp/print", out
    for one in reversed(running):
        one.terminate()
        one.wait(5)
    if not ready:
        missing("ippeveprinter did not start (it needs a running avahi-daemon)")


def printed(folder: Path, many: int) -> list[bytes]:
    until = time.monotonic() + 10
    while time.monotonic() < until and len(list(folder.glob("*.pdf"))) < many:
        time.sleep(0.05)
    return [(folder / f"{n}.pdf").read_bytes() for n in range(len(list(folder.glob("*.pdf"))))]


def test_a_real_printer_gets_the_very_bytes_that_were_proofread(real_printer, three):
    uri, folder = real_printer
    seen = []
    sent = send(three, printer(uri), progress=lambda done, of: seen.append((done, of)))
    assert (sent.accepted, sent.rest, sent.trouble) == (three, [], "")
    assert seen == [(1, 3), (2, 3), (3, 3)]
    assert sorted(printed(folder, 3)) == sorted(make_pdf([label]) for label in three)


def test_a_real_printer_has_no_queue_of_another_name(real_printer, three):
    uri, _ = real_printer
    sent = send(three, printer(uri.replace("/ipp/print", "/ipp/elsewhere")))
    assert sent.rest == three and "no queue of that name" in sent.trouble


def test_a_busy_printer_is_asked_again(fake, three):
    made = fake([0x0507, 0x0507, 0, 0x0505, 0])  # RFC 8011: server-error-busy, server-error-temporary-error
    slept = []
    sent = send(three, printer(made.uri), sleep=slept.append)
    assert sent.accepted == three and len(slept) == 3 and len(made.documents) == 3


def test_a_printer_that_stays_busy_is_given_up(fake, three):
    made = fake([0x0507] * 1000)
    slept = []
    sent = send(three, printer(made.uri), patience_s=60, sleep=slept.append)
    assert sent.rest == three and "stayed busy for 60 seconds" in sent.trouble and not made.documents
    assert 60 <= sum(slept) < 70


def test_a_job_that_fails_half_way_says_which_labels_were_not_accepted(fake, three):
    taken = []
    sent = send(
        three, printer(fake([0, 0x0504]).uri), taken=taken.append
    )  # RFC 8011: server-error-device-error
    assert sent.accepted == three[:1] == taken and sent.rest == three[1:]
    assert "fault of its own" in sent.trouble
    again = fake()
    assert send(sent.rest, printer(again.uri)).accepted == three[1:]
    assert again.documents == [make_pdf([label]) for label in three[1:]]


# RFC 8011, section 5.4.12, printer-state-reasons; and appendix B, status codes.
@pytest.mark.parametrize(
    ("how", "words"),
    [
        ({"reasons": ("media-empty-error",), "state": 5}, "out of labels: load a roll"),
        ({"reasons": ("media-needed",)}, "out of labels"),
        ({"reasons": ("none", "media-jam-error")}, "has a jam"),
        ({"reasons": ("cover-open",), "state": 5}, "stands open"),
        ({"reasons": ("marker-supply-empty-error",)}, "ribbon or ink"),
        ({"reasons": ("paused",), "state": 5}, "is paused"),
        ({"reasons": ("other",), "state": 5}, "has stopped"),
        ({"accepting": False}, "takes no jobs"),
        ({"statuses": [0x0406]}, "no queue of that name"),
        ({"statuses": [0x040A]}, "does not take PDF"),
        ({"statuses": [0x0506]}, "takes no jobs"),
        ({"statuses": [0x0403]}, "does not let this machine print"),
        ({"statuses": [0x0599]}, "status 0x0599"),
        ({"http": 404}, "no queue of that name"),
        ({"http": 500}, "is no printer"),
        ({"body": b"<html>"}, "is no printer"),
        ({"body": b""}, "is no printer"),
    ],
)  # fmt: skip
def test_what_keeps_a_printer_from_printing_is_said(how, words, fake, three):
    made = fake(**how)
    sent = send(three, printer(made.uri))
    assert words in sent.trouble and sent.rest == three and not sent.accepted and not made.documents
    assert sent.trouble.endswith((".", "?"))


def test_a_warning_stops_nothing(fake, three):
    assert (
        send(three, printer(fake(reasons=("media-low-warning", "marker-supply-empty-warning")).uri)).accepted
        == three
    )


def test_a_printer_that_is_off_is_said(three):
    sent = send(three, printer(f"ipp://127.0.0.1:{free_port()}/ipp/print"))
    assert "switched on" in sent.trouble and sent.rest == three


def test_a_name_nobody_has_is_said(three):
    assert "can't be reached" in send(three, printer("ipp://printer.invalid/ipp/print")).trouble


@pytest.mark.parametrize(
    "text",
    [
        "",
        "dock",
        "lp:",
        "lp:-o",
        "lp:a b",
        "http://x/",
        "ipp://",
        "ipp:///x",
        "ipp://h:99999/",
        "ipp://u:p@h/",
        "ipp://h/a b",
    ],
)
def test_what_is_no_printer_is_refused(text):
    with pytest.raises(Nonsense, match=r"is no (printer|name of a queue)"):
        printer(text)


def test_nothing_can_be_sent_to_the_browser(three):
    with pytest.raises(Nonsense, match="handed a PDF"):
        send(three, printer("Browser"))


def test_nothing_is_sent_when_one_label_cannot_be_drawn(fake, three, a_label):
    made = fake()
    with pytest.raises(Nonsense, match="needs its side"):
        send([*three, a_label("tote label", side="C")], printer(made.uri))
    assert made.asked == 0


@pytest.fixture
def lp(tmp_path, monkeypatch):
    """An lp of our own in the path: keeps what it gets; refuses the queue ``gone`` in CUPS's words, and the third label at ``full``."""
    tool = tmp_path / "lp"
    tool.write_text(
        '#!/bin/sh\nif [ "$2" = gone ]; then echo "lp: The printer or class does not exist." >&2; exit 1; fi\n'
        f'n=$(ls "{tmp_path}" | grep -c pdf)\nif [ "$2" = full ] && [ $n -ge 2 ]; then exit 1; fi\n'
        f'echo "$@" >> "{tmp_path}/said"\ncat > "{tmp_path}/$n.pdf"\n'
    )
    tool.chmod(0o755)
    monkeypatch.setenv("PATH", f"{tmp_path}:{os.environ['PATH']}")
    return tmp_path


def test_a_queue_gets_the_very_bytes(lp, three):
    assert send(three, printer("lp:dock")).accepted == three
    assert [(lp / f"{n}.pdf").read_bytes() for n in range(3)] == [make_pdf([label]) for label in three]
    assert (lp / "said").read_text().splitlines()[0].startswith("-d dock -t BH-L26-000")


def test_a_wrong_queue_is_said(lp, three):
    sent = send(three, printer("lp:gone"))
    assert "does not exist" in sent.trouble and sent.rest == three and sent.trouble.endswith(".")


def test_a_queue_that_refuses_half_way_leaves_the_rest(lp, three):
    sent = send(three, printer("lp:full"))
    assert sent.accepted == three[:2] and sent.rest == three[2:]


def test_a_machine_without_lp_says_so(three, tmp_path, monkeypatch):
    monkeypatch.setenv("PATH", str(tmp_path))
    assert "no command lp" in send(three, printer("lp:dock")).trouble


def test_labels_are_drawn_for_the_printers_own_resolution(fake, three):
    made = fake()
    assert send(three[:1], printer(made.uri), dpi=300).accepted
    assert made.documents == [make_pdf(three[:1], 300)] != [make_pdf(three[:1])]
    assert pages(three[0], 300)[0].width == 900


def test_a_damaged_answer_ends_quietly():
    whole = b"\x02\x00\x00\x00\x00\x00\x00\x01\x04" + fake_ipp.attribute(
        0x44, "printer-state-reasons", b"none"
    )
    for cut in range(9, len(whole)):
        printing._attributes(whole[:cut])
    assert issubclass(NotAccepted, Exception)
