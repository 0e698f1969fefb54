"""The page's server: on the loopback address, for whoever holds the token in it, and stateless.

Each request must come to this very address (Host), from this very page (Origin, where a browser sends
it) and below the token. Nothing else is answered, so another page in the same browser cannot drive the
solver, and another user of the machine cannot guess the way; nor does the list of running processes show
it, since the browser is given a file that only this user reads (`opened_in_browser`). The page may load
nothing from elsewhere (CSP). A state is what the page sends; the server keeps none.
"""

from __future__ import annotations

import asyncio
import json
import os
import secrets
import socket
import tempfile
import webbrowser
from contextlib import asynccontextmanager, contextmanager
from dataclasses import dataclass
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from stillroot.answers.wording import CAUTION, NO_LINE
from stillroot.errors import CaseError, EnvironmentProblem, StillrootError
from stillroot.explore.desk import Desk
from stillroot.explore.pairs import lecture
from stillroot.explore.told import drawing_of
from stillroot.inputs.case import Case, resolved_toml

try:
    import uvicorn
    from starlette.applications import Starlette
    from starlette.datastructures import Headers, MutableHeaders
    from starlette.responses import PlainTextResponse, Response, StreamingResponse
    from starlette.routing import Mount, Route
    from starlette.staticfiles import StaticFiles
except ImportError as error:
    _msg = (
        f"stillroot explore needs {error.name}, which is not installed. Install the extra:\n"
        "    pip install 'stillroot[explore]'"
    )
    raise EnvironmentProblem(_msg) from None

if TYPE_CHECKING:
    from collections.abc import AsyncIterator, Iterator, Mapping

    from starlette.requests import Request
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK = "127.0.0.1"
HTTP_PORT = 80
"""The port that browsers leave out of Host and Origin."""
FILE_NUMBER, PAGE_NUMBER = (
    "must be a number, without quotes",
    "must be a number such as 5 or 0.4: a decimal point, no comma, no unit",
)
"""What a case file is told of what is no number, and what somebody is told who typed it."""
LARGEST_BODY = 200_000
"""Bytes: a case with an outline of a thousand points has a quarter of it."""
HEADERS = {
    "content-security-policy": "default-src 'none'; script-src 'self'; style-src 'self'; "
    "connect-src 'self'; img-src 'self' data:; base-uri 'none'; form-action 'none'; "
    "frame-ancestors 'none'",
    "cache-control": "no-store",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "referrer-policy": "no-referrer",
    "x-content-type-options": "nosniff",
}
STATIC = Path(str(files("stillroot"))) / "explore" / "static"


class Guard:
    """Lets through what comes to this address, from this page, below the token, and is not too large."""

    def __init__(self, app: ASGIApp, *, port: int, token: str) -> None:
        self.app = app
        names = (LOOPBACK, "localhost")
        self.hosts = {f"{name}:{port}" for name in names} | set(names if port == HTTP_PORT else ())
        self.token = token

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or refuse it."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        refused = self.refusal(scope["path"], Headers(scope=scope))
        if refused is not None:
            await refused(scope, receive, send)
            return

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                MutableHeaders(scope=message).update(HEADERS)
            await send(message)

        try:
            await self.app(scope, receive, with_headers)
        except Exception:  # the page was told: `broken` has answered
            if os.environ.get("STILLROOT_DEBUG"):
                raise

    def refusal(self, path: str, given: Mapping[str, str]) -> Response | None:
        """Return what a request is refused with, by its path and its headers; None lets it through."""
        host = given.get("host", "")
        if host not in self.hosts:
            return PlainTextResponse("not this host", 421)
        if given.get("origin", f"http://{host}") != f"http://{host}":
            return PlainTextResponse("not this page", 403)
        # The page itself may be opened from a file or a link; no script of another page can read it.
        opens = given.get("sec-fetch-mode") == "navigate" and given.get("sec-fetch-dest") == "document"
        token, _, below = path.lstrip("/").partition("/")
        is_page = opens and not below
        if given.get("sec-fetch-site", "none") not in ("none", "same-origin") and not is_page:
            return PlainTextResponse("not this page", 403)
        if not secrets.compare_digest(token.encode(), self.token.encode()):
            return PlainTextResponse("open the address that stillroot explore printed", 404)
        length = given.get("content-length", "0")
        if "transfer-encoding" in given or not length.isdigit() or int(length) > LARGEST_BODY:
            return PlainTextResponse(
                f"a request must state its length, {LARGEST_BODY} bytes at most", 413
            )
        return None


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What a page asks: the case, the tab that asks, and the place of the load that it shows."""

    case: Case
    tab: str
    place: int

    @classmethod
    async def by(cls, request: Request) -> Asked:
        """Read a request.

        Raises
        ------
        CaseError
            It has no case; the text is the one message for the user.
        """
        try:
            data = json.loads(await request.body())
            json.dumps(data, ensure_ascii=False).encode()
        except UnicodeEncodeError:
            msg = (
                "a text contains half a letter (a lone surrogate such as \\ud800); type that text again"
            )
            raise CaseError(msg) from None
        except (ValueError, RecursionError):
            data = None
        if not (isinstance(data, dict) and isinstance(data.get("case"), dict)):
            msg = "a state must contain a case: an object with implant, bone and loads"
            raise CaseError(msg)
        case, place = Case.from_dict(data["case"]), data.get("load", 0)
        if not (isinstance(place, int) and 0 <= place < len(case.loads)):
            place = 0
        return cls(case=case, tab=str(data.get("tab", ""))[:64], place=place)


class Site:
    """The answers to requests; `case` is what the page opens with."""

    def __init__(self, case: Case, desk: Desk) -> None:
        self.case, self.desk = case, desk

    @asynccontextmanager
    async def life(self, _: Starlette) -> AsyncIterator[None]:
        """Have the processes that solve, for as long as the server runs."""
        self.desk.start()
        drawing_of(self.case)  # what it imports is slow, and the first drag should not wait for it
        try:
            yield
        finally:
            self.desk.stop()

    async def page(self, _: Request) -> Response:
        """Return the page itself."""
        return Response((STATIC / "index.html").read_bytes(), media_type="text/html; charset=utf-8")

    async def start(self, _: Request) -> Response:
        """Return what the page opens with."""
        return _json({"case": page_case(self.case), "caution": CAUTION, "no_line": NO_LINE})

    async def lecture(self, _: Request) -> Response:
        """Return the screens of a lecture."""
        return _json({"screens": lecture()})

    async def draw(self, request: Request) -> Response:
        """Return a case with its defaults, and its section."""
        case = (await Asked.by(request)).case
        return _json({"case": case.to_dict(), "drawing": drawing_of(case)})

    async def solve(self, request: Request) -> Response:
        """Return the answers to a case, a line for each as it comes."""
        asked = await Asked.by(request)
        answers = self.desk.answers(asked.tab, asked.case, asked.place)
        return StreamingResponse(_lines(answers), media_type="application/x-ndjson")

    async def save(self, request: Request) -> Response:
        """Return a case as its file."""
        return PlainTextResponse(resolved_toml((await Asked.by(request)).case))

    async def report(self, request: Request) -> Response:
        """Return the report of a case, as plain text: the page saves it, and nothing of it runs here."""
        asked = await Asked.by(request)
        made = asyncio.ensure_future(self.desk.report(asked.tab, asked.case))
        left = asyncio.ensure_future(request.receive())  # all was read: it returns when nobody waits
        try:
            waited: set[asyncio.Future[Any]] = {made, left}
            await asyncio.wait(waited, return_when=asyncio.FIRST_COMPLETED)
            return PlainTextResponse(made.result()) if made.done() else Response(status_code=204)
        finally:
            made.cancel()
            left.cancel()

    async def refused(self, _: Request, error: Exception) -> Response:
        """Return the one message for the user."""
        return _json({"message": str(error).replace(FILE_NUMBER, PAGE_NUMBER)}, 422)

    async def broken(self, _: Request, error: Exception) -> Response:
        """Return what to tell of an error of the program itself."""
        return _json({"message": f"an internal error ({type(error).__name__}: {error})"}, 500)


def application(case: Case, *, port: int, token: str, desk: Desk) -> ASGIApp:
    """Return the server's application; `case` is what the page opens with."""
    site = Site(case, desk)
    routes = [
        Route("/", site.page),
        Route("/start", site.start),
        Route("/lecture", site.lecture),
        Route("/draw", site.draw, methods=["POST"]),
        Route("/solve", site.solve, methods=["POST"]),
        Route("/case", site.save, methods=["POST"]),
        Route("/report", site.report, methods=["POST"]),
        Mount("/static", StaticFiles(directory=STATIC)),
    ]
    application = Starlette(
        routes=[Mount(f"/{token}", routes=routes)],
        lifespan=site.life,
        exception_handlers={StillrootError: site.refused, Exception: site.broken},
    )
    return Guard(application, port=port, token=token)


def page_case(case: Case) -> dict[str, Any]:
    """Return what a page keeps of a case: what it states, so that defaults go on following."""
    resolved = case.to_dict()
    spread = {"spread": resolved["spread"]} if "spread" in resolved else {}
    return {**case.stated(), **spread}


def bound_socket(port: int) -> socket.socket:
    """Return a socket on the loopback address, on a free port where `port` is 0.

    Raises
    ------
    EnvironmentProblem
        The port is taken.
    """
    bound = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        bound.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        bound.bind((LOOPBACK, port))
        bound.listen()  # a browser may be quicker than the server
    except OSError as error:
        bound.close()
        msg = f"--port {port}: is not available ({error.strerror}); leave it out for a free one"
        raise EnvironmentProblem(msg) from None
    return bound


def new_token() -> str:
    """Return a token that nobody guesses."""
    return secrets.token_urlsafe(24)


@contextmanager
def opened_in_browser(address: str) -> Iterator[bool]:
    """Open an address in the browser and yield whether it went; the block's end removes what that took.

    The browser's command line, which every user of the machine can read, holds the path of a file in
    place of the address with its token; the file sends it on, and only this user can read it.
    """
    try:
        folder = tempfile.TemporaryDirectory(prefix="stillroot-", ignore_cleanup_errors=True)
    except OSError:
        yield False
        return
    with folder as name:  # its mode is 0700
        file = Path(name) / "open.html"
        link = escape(address)
        text = (
            f'<!doctype html><html lang="en"><meta charset="utf-8"><title>stillroot explore</title>'
            f'<meta http-equiv="refresh" content="0; url={link}">'
            f'<p><a href="{link}">The page</a></p></html>\n'
        )
        try:
            file.touch(0o600, exist_ok=False)
            file.write_text(text, encoding="utf-8")
            went = webbrowser.open(file.as_uri())
        except (OSError, webbrowser.Error):
            went = False
        yield went


class Server(uvicorn.Server):
    """A server that ends open answers by itself, so that nobody has to break them off."""

    def __init__(self, case: Case, bound: socket.socket, token: str, desk: Desk) -> None:
        self.desk = desk
        config = uvicorn.Config(
            application(case, port=bound.getsockname()[1], token=token, desk=desk),
            log_level="error",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=2,
        )
        super().__init__(config)

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End open answers, then the server."""
        self.desk.end()
        await super().shutdown(sockets)


def serve(case: Case, bound: socket.socket, token: str) -> None:
    """Serve until Ctrl-C."""
    Server(case, bound, token, Desk()).run(sockets=[bound])


async def _lines(answers: AsyncIterator[dict[str, Any]]) -> AsyncIterator[bytes]:
    try:
        async for message in answers:
            yield json.dumps(message, ensure_ascii=False).encode() + b"\n"
    except StillrootError as error:
        yield json.dumps({"kind": "no-answer", "message": str(error)}).encode() + b"\n"


def _json(data: object, status: int = 200) -> Response:
    text = json.dumps(data, ensure_ascii=False, allow_nan=False)
    return Response(text, status_code=status, media_type="application/json")
