"""Prints a page of this project to PDF through Chromium where it is installed; the page lays itself out for paper.

The browser is steered through its debugging pipe, so that it prints when the page says that all is drawn, not before.
"""

from __future__ import annotations

import base64
import contextlib
import json
import os
import re
import select
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from cavity.errors import Fault, InputError
from cavity.files import write_whole

_NAMES = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
# The browser reads commands from descriptor 3 and answers on 4; first out of the way, in case they are in use.
_START = (
    "import fcntl, os, sys; a, b = (fcntl.fcntl(int(n), fcntl.F_DUPFD, 10) for n in sys.argv[1:3]); "
    "os.dup2(a, 3); os.dup2(b, 4); os.execv(sys.argv[3], sys.argv[3:])"
)
_BOXES_SINCE = 131  # first Chromium that prints the margin boxes of CSS: page number, wall, case and climate
_FOOT = (
    '<div style="font:8px sans-serif;color:#444;width:100%;padding:0 14mm;display:flex;justify-content:space-between">'
    '<span class="title"></span><span>Page <span class="pageNumber"></span> of <span class="totalPages"></span></span>'
    "</div>"
)  # for older ones
_PLAIN = """(() => { document.documentElement.dataset.theme = "light"; const made = document.createElement("style");
made.textContent = "html:root{--paper:#fff;--sheet:#fff}.main-svg{background:none!important}" +
".bar,.modebar{display:none!important}";
document.head.append(made); })()"""
_BOX = """(() => { const part = document.querySelector(%s); if (!part || !part.getClientRects().length) return null;
const { x, y, width, height } = part.getBoundingClientRect();
return { x: x + scrollX, y: y + scrollY, width, height }; })()"""
_ELSE = "open the report in any browser and print it to PDF there"


def find_browser() -> str | None:
    """Return the path of a browser of the Chromium family on this computer, None where there is none."""
    return next((found for found in map(shutil.which, _NAMES) if found), None)


def needed_browser() -> str:
    """Return the path of a browser that can print.

    Raises
    ------
    InputError
        If there is none, or the system does not hand open pipes on to a browser (Windows).
    """
    program = find_browser()
    if program is None or os.name != "posix":
        problem = "needs a browser of the Chromium family, and none is found"
        raise InputError(
            Fault(
                "--pdf",
                problem if program is None else "works on Linux and macOS only",
                expected="one of " + ", ".join(_NAMES[:3]),
                fix=f"install Chromium, or {_ELSE}",
            )
        )
    return program


def write_pdf(
    html: str | os.PathLike[str],
    pdf: str | os.PathLike[str],
    *,
    browser: str | None = None,
    paper: str = "A4",
    timeout: float = 180.0,
) -> Path:
    """Print an HTML page of this project to PDF.

    Parameters
    ----------
    html, pdf : path
        The page, and the file to write; an existing file is replaced only by a complete one.
    browser : str, keyword only
        Path of the browser; found by name where not given.
    paper : {"A4", "letter"}, keyword only
        Size of the sheet.
    timeout : float, keyword only
        Longest time to wait. [s]

    Returns
    -------
    pathlib.Path
        The file written.

    Raises
    ------
    InputError
        If there is no browser, no page, or the browser gives no PDF in time.
    """
    page = Path(html).resolve()
    program = browser or needed_browser()
    if not page.is_file():
        raise InputError(Fault(str(page), "is not there to be printed", fix="write the report first"))
    sizes = {"A4": (8.27, 11.69), "letter": (8.5, 11.0)}  # inches, ISO 216 and ANSI A
    if paper not in sizes:
        raise InputError(Fault("paper", "is not known", given=paper, expected="A4 or letter"))
    try:
        data = _print(program, page.as_uri(), sizes[paper], time.monotonic() + timeout)
    except TimeoutError:
        raise InputError(Fault(program, f"gave no PDF within {timeout:g} s", fix=_ELSE)) from None
    except OSError as error:
        raise InputError(Fault(program, "cannot be run", given=error.strerror or str(error), fix=_ELSE)) from None
    return write_whole(pdf, data)


class _Pipe:
    """JSON messages over the debugging pipe, one at a time."""

    def __init__(self, write: int, read: int, deadline: float, program: str) -> None:
        self._write, self._read, self._deadline, self._program = write, read, deadline, program
        self._rest = b""
        self._number = 0

    def call(self, method: str, session: str = "", **parameters: Any) -> dict[str, Any]:
        """Send a command and return its result; an error of the page is returned as an empty result."""
        self._number += 1
        message: dict[str, Any] = {"id": self._number, "method": method, "params": parameters}
        if session:
            message["sessionId"] = session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            found = self._next()
            if found.get("id") == self._number:
                return found.get("result", {})

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self._rest:
            wait = self._deadline - time.monotonic()
            if wait <= 0 or not select.select([self._read], [], [], wait)[0]:
                raise TimeoutError
            piece = os.read(self._read, 1 << 20)
            if not piece:
                raise InputError(Fault(self._program, "stopped before it printed", fix=_ELSE))
            self._rest += piece
        message, self._rest = self._rest.split(b"\0", 1)
        return json.loads(message)


def take_pictures(
    html: str | os.PathLike[str], wanted: Mapping[str, str], *, browser: str | None = None, timeout: float = 180.0
) -> dict[str, bytes]:
    """Return parts of a page of this project as PNG pictures on white, at 2 px a CSS pixel.

    Parameters
    ----------
    html : path
        The page.
    wanted : mapping of str to str
        CSS selector of each part by the name under which its picture is returned.
    browser : str, keyword only
        Path of the browser; found by name where not given.
    timeout : float, keyword only
        Longest time to wait. [s]

    Returns
    -------
    dict of str to bytes
        What the page does not have is omitted.

    Raises
    ------
    InputError
        If there is no browser, or the page is not drawn in time.
    """
    program = browser or needed_browser()
    deadline = time.monotonic() + timeout
    made: dict[str, bytes] = {}
    try:
        with _opened(program, Path(html).resolve().as_uri(), deadline) as (pipe, session):
            pipe.call(
                "Emulation.setDeviceMetricsOverride", session, width=900, height=900, deviceScaleFactor=2, mobile=False
            )
            _wait(pipe, session, deadline)
            pipe.call("Runtime.evaluate", session, expression=_PLAIN)
            for name, selector in wanted.items():
                found = pipe.call(
                    "Runtime.evaluate", session, expression=_BOX % json.dumps(selector), returnByValue=True
                )
                box = found.get("result", {}).get("value")
                if not box:
                    continue
                shot = pipe.call(
                    "Page.captureScreenshot", session, format="png", captureBeyondViewport=True, clip=box | {"scale": 1}
                )
                if "data" in shot:
                    made[name] = base64.b64decode(shot["data"])
    except TimeoutError:
        raise InputError(Fault(program, f"drew no page within {timeout:g} s", fix=_ELSE)) from None
    except OSError as error:
        raise InputError(Fault(program, "cannot be run", given=error.strerror or str(error), fix=_ELSE)) from None
    return made


def _print(program: str, address: str, size: tuple[float, float], deadline: float) -> bytes:
    with _opened(program, address, deadline) as (pipe, session):
        _wait(pipe, session, deadline)
        old: dict[str, Any] = {}
        version = re.search(r"/(\d+)", pipe.call("Browser.getVersion").get("product", ""))
        if version and int(version[1]) < _BOXES_SINCE:
            old = {"displayHeaderFooter": True, "headerTemplate": "<span></span>", "footerTemplate": _FOOT}
        printed = pipe.call(
            "Page.printToPDF", session, printBackground=True, paperWidth=size[0], paperHeight=size[1],
            marginTop=0.67, marginBottom=0.63, marginLeft=0.55, marginRight=0.55, **old,
        )  # fmt: skip
        if "data" not in printed:
            raise InputError(Fault(program, "could not print the page", fix=_ELSE))
        return base64.b64decode(printed["data"])


def _wait(pipe: _Pipe, session: str, deadline: float) -> None:
    """Wait until the page says that all is drawn."""
    ready = "document.documentElement.dataset.ready === '1'"
    while not pipe.call("Runtime.evaluate", session, expression=ready).get("result", {}).get("value"):
        if time.monotonic() > deadline:
            raise TimeoutError
        time.sleep(0.1)


@contextlib.contextmanager
def _opened(program: str, address: str, deadline: float) -> Iterator[tuple[_Pipe, str]]:
    """Open a page in a browser of its own; yield the pipe to it and the session of the page."""
    command_read, command_write = os.pipe()
    answer_read, answer_write = os.pipe()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        command = [
            program, "--headless=new", "--disable-gpu", "--no-first-run", "--disable-background-networking",
            "--disable-component-update", "--disable-sync", "--remote-debugging-pipe", f"--user-data-dir={profile}",
        ]  # fmt: skip
        if os.geteuid() == 0:
            command.append("--no-sandbox")  # Chromium refuses its sandbox to root
        starter = [sys.executable, "-c", _START, str(command_read), str(answer_write), *command, address]
        running = subprocess.Popen(
            starter, pass_fds=(command_read, answer_write), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        os.close(command_read)
        os.close(answer_write)
        try:
            pipe = _Pipe(command_write, answer_read, deadline, program)
            session = ""
            while not session:
                targets = pipe.call("Target.getTargets").get("targetInfos", [])
                pages = [item["targetId"] for item in targets if item["type"] == "page"]
                if pages:
                    session = pipe.call("Target.attachToTarget", targetId=pages[0], flatten=True)["sessionId"]
                else:
                    time.sleep(0.05)
            yield pipe, session
            pipe.call("Browser.close")
        except BrokenPipeError:
            raise InputError(Fault(program, "did not start", fix=_ELSE)) from None
        finally:
            os.close(command_write)
            os.close(answer_read)
            try:
                running.wait(10.0)
            except subprocess.TimeoutExpired:
                running.kill()
                running.wait()
