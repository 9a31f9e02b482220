"""The page's server: on the loopback address alone, for the browser that opened its first address, only.

What protects it: the socket is bound to 127.0.0.1; the Host header must name that address and port (a name that is made
to point here by a foreign page does not pass); requests that change or compute something must come from the page's own
origin; every request carries the cookie that only the first address, with its random token, has set. The secret of
the cookie is kept for the port in the cache folder, readable to the user alone, so that a page that is open goes
on when the server is started again. Paths from the page are never opened: files come as uploads of bounded size and go
out as downloads.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import re
import secrets
import socket
import tempfile
import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from cavity.errors import CavityError, Fault, InputError, Stopped
from cavity.files import cache_folder
from cavity.live import desk, form
from cavity.live.studies import Studies
from cavity.wallfile import materials

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

LARGEST_TEXT = 1_000_000  # bytes of a request with a wall file
LARGEST_FILE = 60_000_000  # bytes of a climate file
LARGEST_INDOOR = 5_000_000  # bytes of an indoor climate
KINDS = (".epw", ".csv", ".nc", ".txt", ".tsv")  # of climate files
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data: blob:; "
    "connect-src 'self'; font-src 'self'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'"
)  # plotly writes its own style elements; nothing comes from another host
_HERE = Path(__file__).parent / "page"


class Guard:
    """Lets through only what comes from the page itself; adds the headers that keep it so."""

    def __init__(self, app: ASGIApp, token: str, secret: str, port: int) -> None:
        self.app, self.token, self.secret, self.port = app, token, secret, port
        self.hosts = {f"127.0.0.1:{port}", f"localhost:{port}"}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Check one request and answer it, or refuse it."""
        if scope["type"] == "lifespan":  # starting and ending: no request
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        request = Request(scope)
        refused = self._refused(request)
        if refused is not None:
            await refused(scope, receive, send)
            return

        async def with_headers(message: Any) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *_HEADERS]
            await send(message)

        await self.app(scope, receive, with_headers)

    def _refused(self, request: Request) -> Response | None:
        host = request.headers.get("host", "")
        if host not in self.hosts:
            return PlainTextResponse("This address belongs to a page on another host.", 421)
        if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
            return PlainTextResponse("Requests of other pages are not answered.", 403)
        if request.method not in ("GET", "HEAD") and request.headers.get("origin") != f"http://{host}":
            return PlainTextResponse("Requests of other pages are not answered.", 403)
        token = request.query_params.get("token")
        if request.url.path == "/" and token is not None and secrets.compare_digest(_bytes(token), _bytes(self.token)):
            first = RedirectResponse("/", 303)
            first.set_cookie(cookie_name(self.port), self.secret, httponly=True, samesite="strict", path="/")
            return first
        if not secrets.compare_digest(_bytes(request.cookies.get(cookie_name(self.port), "")), _bytes(self.secret)):
            return PlainTextResponse(
                "Open the address shown in the terminal: it gives this browser access. The wall on the page is kept.",
                403,
            )
        return None


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "surrogatepass")  # the comparison takes text of ASCII letters alone


_HEADERS = [
    (b"content-security-policy", POLICY.encode()),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-resource-policy", b"same-origin"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
]


def cookie_name(port: int) -> str:
    """Return the name of the cookie: one a port, for cookies do not know ports."""
    return f"cavity_live_{port}"


class Latest:
    """Knows the newest request of each tab, and ends the computation of older ones."""

    def __init__(self) -> None:
        self._newest: dict[str, int] = {}
        self._flags: dict[str, list[tuple[int, np.ndarray]]] = {}
        self._lock = threading.Lock()

    def arrived(self, tab: str, number: int) -> np.ndarray:
        """Note a request; return the flag, (1,), that turns 1 when a newer one of its tab has come."""
        flag = np.zeros(1, dtype=np.int64)
        with self._lock:
            if len(self._newest) > 200:  # tabs closed long ago
                old = next(iter(self._newest))
                self._newest.pop(old)
                self._flags.pop(old)
            newest = self._newest[tab] = max(number, self._newest.get(tab, 0))
            running = [*self._flags.get(tab, []), (number, flag)]
            for asked, its in running:
                its[0] = asked < newest
            self._flags[tab] = [pair for pair in running if not pair[1][0]]
        return flag


def application(
    work: desk.Desk, studies: Studies, *, token: str, secret: str, port: int, first: Mapping[str, str]
) -> Starlette:
    """Return the page's application.

    Parameters
    ----------
    work : Desk
        What computes.
    studies : Studies
        Longer work.
    token : str, keyword only
        Of the first address.
    secret : str, keyword only
        Of the cookie.
    port : int, keyword only
        Port of the server. [1]
    first : mapping of str, keyword only
        What the page shows first: ``text`` of the wall file and ``name``, both empty to offer the starting points, and
        ``climate``.
    """
    latest = Latest()
    # two years at a time: more would only share the same cores, and older ones are dropped while they wait
    seats = asyncio.Semaphore(2)

    async def page(_: Request) -> Response:
        return Response((_HERE / "live.html").read_text("utf-8"), media_type="text/html")

    async def script(request: Request) -> Response:
        name = request.path_params["name"]
        if name == "plotly.js":
            from plotly.offline import get_plotlyjs

            return Response(await run_in_threadpool(get_plotlyjs), media_type="text/javascript")
        kinds = {"live.js": "text/javascript", "live.css": "text/css"}
        if name not in kinds:
            return PlainTextResponse("not here", 404)
        text = (_HERE / name).read_text("utf-8")
        if name == "live.css":
            text = _shared_style() + text
        return Response(text, media_type=kinds[name])

    async def begin(_: Request) -> Response:
        from cavity.report import display, palette, wall_drawing
        from cavity.wallfile import starter, starters

        return _json({
            "form": form.sections(),
            "materials": await run_in_threadpool(_materials),
            "starts": [{"name": name, "title": title, "text": starter(name)} for name, title in starters().items()],
            "climates": work.names(),
            "titles": {name: f"{name.replace('_', ' ').capitalize()} (fictitious)" for name in work.climates},
            "patterns": wall_drawing.PATTERNS,
            "first": dict(first),
            "pounds": display.text_units(),
            "colours": {"light": palette.LIGHT, "dark": palette.DARK},
            "layout": _plain_template(),
            "cautions": list(_cautions()),
        })  # fmt: skip

    async def wall(request: Request) -> Response:
        asked = await _asked(request)
        text = str(asked["text"])
        if asked.get("change"):
            text = await run_in_threadpool(desk.edited, text, asked["change"])
        reply: dict[str, Any] = {"text": text, "contents": desk.contents(text), "faults": [], "quick": None}
        try:
            reply["quick"] = await run_in_threadpool(desk.quick, text, str(asked.get("opening_set", "")), work.folder)
        except InputError as error:
            reply["faults"] = desk.faults_of(error)
        return _json(reply)

    async def year(request: Request) -> Response:
        asked = await _asked(request)
        flag = latest.arrived(str(asked["tab"])[:60], int(asked["number"]))
        async with seats:
            if flag[0]:  # while it waited for a seat
                return _json({"superseded": True})
            try:
                reply = await run_in_threadpool(
                    work.year, str(asked["text"]), str(asked["climate"]), str(asked.get("opening_set", "")), stop=flag
                )
            except Stopped:
                return _json({"superseded": True})
        return Response(written({"superseded": bool(flag[0]), **reply}), media_type="application/json")

    async def climate(request: Request) -> Response:
        name = _plain_name(request)
        suffix = Path(name).suffix.lower()
        if suffix not in KINDS:
            raise InputError(
                Fault("climate", "a file of another kind", name, ", ".join(KINDS), "choose a weather file")
            )
        with tempfile.TemporaryDirectory() as folder:
            # the name of the file on this computer is ours: nothing of the user's name is used as a path
            path = Path(folder) / f"{secrets.token_hex(8)}{suffix}"
            size = 0
            with path.open("wb") as stream:
                async for chunk in request.stream():
                    size += len(chunk)
                    if size > LARGEST_FILE:
                        raise InputError(
                            Fault(name, "too large for the page", f"more than {LARGEST_FILE // 10**6} MB",
                                  f"at most {LARGEST_FILE // 10**6} MB", "use the command line for it")
                        )  # fmt: skip
                    stream.write(chunk)
            weather = await run_in_threadpool(_read_climate, path, name)
        return _json({"name": work.add(name, weather), "names": work.names(), "warnings": _warnings(weather)})

    async def indoor(request: Request) -> Response:
        name = _plain_name(request)
        data = b""
        async for chunk in request.stream():
            data += chunk
            if len(data) > LARGEST_INDOOR:
                raise InputError(
                    Fault(name, "too large for the page", f"more than {LARGEST_INDOOR // 10**6} MB",
                          f"at most {LARGEST_INDOOR // 10**6} MB", "a year of hours takes half a megabyte")
                )  # fmt: skip
        return _json({"name": await run_in_threadpool(work.add_indoor, name, data)})

    async def study(request: Request) -> Response:
        asked = await _asked(request)
        return _json({"id": studies.start(work, asked)})

    async def study_state(request: Request) -> Response:
        state = studies.state(request.path_params["id"], int(request.query_params.get("after", "0")))
        return _json(state) if state is not None else _json({"faults": [], "gone": True}, 404)

    async def study_stop(request: Request) -> Response:
        studies.stop(request.path_params["id"])
        return _json({})

    async def study_file(request: Request) -> Response:
        file = studies.file(request.path_params["id"])
        if file is None:
            return PlainTextResponse("not here", 404)
        name, data = file
        return Response(
            data,
            media_type="application/octet-stream",
            headers={"content-disposition": f'attachment; filename="{name}"'},
        )

    async def hours(request: Request) -> Response:
        asked = await _asked(request)
        text = await run_in_threadpool(
            work.hours, str(asked["text"]), str(asked["climate"]), str(asked.get("opening_set", ""))
        )
        return Response(text, media_type="text/csv")

    async def here(_: Request) -> Response:
        return _json({"alive": True})

    app = Starlette(
        routes=[
            Route("/", page), Route("/page/{name}", script), Route("/begin", begin), Route("/here", here),
            Route("/wall", wall, methods=["POST"]), Route("/year", year, methods=["POST"]),
            Route("/climate", climate, methods=["POST"]), Route("/indoor", indoor, methods=["POST"]),
            Route("/hours", hours, methods=["POST"]),
            Route("/study", study, methods=["POST"]), Route("/study/{id}", study_state),
            Route("/study/{id}", study_stop, methods=["DELETE"]), Route("/study/{id}/file", study_file),
        ],
        middleware=[Middleware(Guard, token=token, secret=secret, port=port)],
        exception_handlers={CavityError: _refuse, KeyError: _odd, TypeError: _odd, ValueError: _odd},
    )  # fmt: skip
    return app


def _plain_name(request: Request) -> str:
    """Return the name of an uploaded file without anything that could lead out of a folder."""
    name = re.sub(r"[^\w .()-]+", "_", request.query_params.get("name", ""))[-80:]
    return name.lstrip(". ") or "file"


async def _asked(request: Request) -> dict[str, Any]:
    """Return the body of a request of the page."""
    body = b""
    with contextlib.suppress(ClientDisconnect):
        async for chunk in request.stream():
            body += chunk
            if len(body) > LARGEST_TEXT:
                raise InputError(Fault("page", "the wall file is too long", f"more than {LARGEST_TEXT} bytes"))
    asked = json.loads(body)
    if not isinstance(asked, dict):
        raise ValueError("not an object")
    return asked


async def _refuse(_: Request, error: Exception) -> Response:
    assert isinstance(error, CavityError)
    return _json({"faults": desk.faults_of(error)}, 422)


async def _odd(_: Request, error: Exception) -> Response:  # noqa: ARG001 - its text is of no use on the page
    return _json({"faults": [{"key": "", "where": "page", "problem": "the request was not understood"}]}, 400)


def _json(value: Any, status: int = 200) -> Response:
    return JSONResponse(value, status) if status != 200 else Response(packed(value), media_type="application/json")


def packed(value: Any) -> bytes:
    """Return JSON; what is not a number becomes null, as in reports."""
    from cavity.report.packing import plain

    return written(plain(value))


def written(value: Any) -> bytes:
    """Return JSON of what `packing.plain` has been through already."""
    return json.dumps(value, separators=(",", ":"), ensure_ascii=False).encode()


def _plain_template() -> dict[str, Any]:
    from cavity.report import palette

    return palette.style()["template"]["layout"]


def _shared_style() -> str:
    from cavity.report import elevation, page, schedule

    return page.shared_style() + page.section_style() + elevation.STYLE + schedule.STYLE


def _cautions() -> tuple[str, ...]:
    from cavity.report.verdict import CAUTIONS

    return CAUTIONS


def _materials() -> list[dict[str, Any]]:
    return [
        {"name": row.name, "title": row.title, "group": row.group, "thickness": row.thickness}
        for row in materials().values()
    ]


def _read_climate(path: Path, name: str) -> Any:
    """Return the climate in an uploaded file; messages name the file as the user does."""
    from cavity.climate import read_weather

    try:
        weather = read_weather(path)
    except InputError as error:
        shown = [
            replace(fault, where=fault.where.replace(str(path), name).replace(path.name, name))
            for fault in error.faults
        ]
        raise InputError(*shown) from None
    return weather.assign_attrs(source=name, name=weather.attrs.get("name") or name)


def _warnings(weather: Any) -> list[str]:
    return list(json.loads(weather.attrs.get("warnings", "[]")))


def free_socket(port: int = 0) -> socket.socket:
    """Return a socket that listens on the loopback address: to a free port, or to the one given.

    Parameters
    ----------
    port : int
        0: any free one. [1]

    Raises
    ------
    InputError
        If the port is taken.
    """
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind(("127.0.0.1", port))
        listening.listen()
    except OSError as error:
        listening.close()
        raise InputError(
            Fault("--port", f"cannot be used: {error.strerror or error}", str(port), "a free port",
                  "leave the option out: a free port is found")
        ) from None  # fmt: skip
    return listening


def kept_secret(port: int) -> str:
    """Return the secret of a port's cookie: the one of the last server on it, or a new one, kept for the next.

    Parameters
    ----------
    port : int
        Port of the server. [1]
    """
    secret = secrets.token_urlsafe(24)
    folder = _kept()
    if folder is None:
        return secret
    path = folder / str(port)
    with contextlib.suppress(OSError, ValueError):
        facts = path.stat()
        ours = not hasattr(os, "getuid") or facts.st_uid == os.getuid()
        recent = facts.st_mtime > time.time() - _KEPT_FOR
        if ours and recent and not facts.st_mode & 0o077 and len(kept := path.read_text("ascii")) == len(secret):
            os.utime(path)
            return kept
    with contextlib.suppress(OSError):  # a folder that cannot be written: the next server has another secret
        folder.mkdir(parents=True, exist_ok=True)
        path.unlink(missing_ok=True)
        with os.fdopen(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="ascii") as stream:
            stream.write(secret)
        for old in _ports(folder)[_KEPT_PORTS:]:
            (folder / str(old)).unlink(missing_ok=True)
    return secret


_KEPT_FOR = 14 * 86400.0  # s without a server, after which a page left open must be let in again (own choice)
_KEPT_PORTS = 8  # secrets kept, the port used last first


def _kept() -> Path | None:
    home = cache_folder()
    return home / "cavity" / "live" if home else None


def _ports(folder: Path) -> list[int]:
    """Return the ports of earlier servers, the one started last first."""
    paths = [path for path in folder.glob("*") if path.name.isdecimal()]
    return [int(path.name) for path in sorted(paths, key=lambda path: path.stat().st_mtime, reverse=True)]


def own_socket(port: int = 0) -> socket.socket:
    """Return a socket on the port given, else on that of the last server, where an open page looks for it, else any.

    Parameters
    ----------
    port : int
        0: the last one or any free one. [1]
    """
    folder = _kept()
    if port == 0 and folder is not None:
        with contextlib.suppress(OSError, InputError, IndexError):
            return free_socket(_ports(folder)[0])
    return free_socket(port)


def serve(
    work: desk.Desk,
    studies: Studies,
    *,
    first: Mapping[str, str],
    port: int = 0,
    opened: Callable[[str], None],
) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    work, studies, first
        As for `application`.
    port : int, keyword only
        0: that of the last server, or any free one. [1]
    opened : callable, keyword only
        Called with the first address once the server answers.
    """
    import uvicorn

    bound = own_socket(port)
    number = bound.getsockname()[1]
    token = secrets.token_urlsafe(24)
    app = application(work, studies, token=token, secret=kept_secret(number), port=number, first=first)
    # the socket listens already: a browser that is quicker than the server waits in its queue
    opened(f"http://127.0.0.1:{number}/?token={token}")
    server = uvicorn.Server(
        uvicorn.Config(app, log_level="error", lifespan="off", access_log=False, timeout_graceful_shutdown=1)
    )
    try:
        with contextlib.suppress(KeyboardInterrupt), bound:
            server.run(sockets=[bound])
    finally:
        studies.close()
        work.close()
