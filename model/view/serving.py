"""The server of one page, for the browser on this machine and for nobody else.

Owns the addresses and who is answered: what comes by the name of this machine's own loopback and holds the address's
token; what would change anything must also come from the page itself and bring the token in a header, which no other
page can have a browser send. There is no file to be asked for: the page is one text, and all else is answered from
`room`. What came in is read within bounds, and a fault in it is told in plain words.
"""

from __future__ import annotations

import asyncio
import hmac
import json
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable
from typing import Any

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response, StreamingResponse
from starlette.routing import Route
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from elbowroom.model.build.problems import BuildError, InputError
from elbowroom.model.page.document import live_document
from elbowroom.model.view.desk import Desk, Refused
from elbowroom.model.view.room import Room

TOKEN_BYTES = 24  # 192 bits: nobody guesses it (the fewest that are advised for a secret are 128; mark M)
MOST_BODY = 64_000  # bytes of one request: a number and its path are a few hundred
MOST_STEPS, MOST_TEXT = 24, 400  # steps of a path, characters of a value: no build has more in a number
MOST_LISTENERS = 16  # pages that are open at once
ALIVE_S = 15.0  # between two signs of life of a page's stream of states
HEADER = "x-elbowroom-token"
HEADERS = (
    (b"cache-control", b"no-store"), (b"referrer-policy", b"no-referrer"), (b"x-content-type-options", b"nosniff"),
    (b"x-frame-options", b"DENY"), (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"), (b"content-security-policy", b"frame-ancestors 'none'"),
)  # fmt: skip

Told = dict[str, Any]


class Guard:
    """Lets through what is meant for the page, and gives every answer the headers that keep it there."""

    def __init__(self, app: ASGIApp, token: str, ticket: str, port: Callable[[], int]) -> None:
        self._app, self._token, self._ticket, self._port = app, token, ticket, port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self._app(scope, receive, send)
            return

        async def headed(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", ()), *HEADERS]
            await send(message)

        refused = self.refusal(Request(scope))
        await (self._app if refused is None else refused)(scope, receive, headed)

    def refusal(self, request: Request) -> Response | None:
        """What is answered in place of the page; None where it may be asked."""
        hosts = {f"{name}:{self._port()}" for name in ("127.0.0.1", "localhost")}
        host = request.headers.getlist("host")
        if len(host) != 1 or host[0] not in hosts:
            return _said("this is not the name of this server", 421)
        origin = request.headers.get("origin")
        if origin is not None and origin != f"http://{host[0]}":
            return _said("another page may not ask this one", 403)
        steps = request.url.path.split("/", 2)
        if steps[1] == "open" and steps[2:] and self._ticket and _same(steps[2], self._ticket):
            self._ticket = ""  # once: it stood in a command line, which others on the machine can read
            return RedirectResponse(f"/{self._token}/", 303)
        if len(steps) < 3 or not _same(steps[1], self._token):
            return _said("not found", 404)
        if request.method == "GET":
            alone = request.headers.get("sec-fetch-site") in (None, "none", "same-origin")
            page = steps[2] == "" and request.headers.get("sec-fetch-dest") in (None, "document")
            return None if alone or page else _said("another page may not ask this one", 403)
        if origin is None or not _same(request.headers.get(HEADER, ""), self._token):
            return _said("only the page itself may change anything", 403)
        if request.headers.get("content-type", "").partition(";")[0].strip() != "application/json":
            return _said("JSON is expected", 415)
        return None


def application(room: Room, port: Callable[[], int], token: str | None = None, ticket: str | None = None) -> Guard:
    """The server of a room's page. token: in its address; ticket: what `/open/` takes once for the way to it."""
    token = secrets.token_urlsafe(TOKEN_BYTES) if token is None else token
    page = live_document(room.desk.file.name)

    async def index(request: Request) -> Response:
        return HTMLResponse(page)

    async def state(request: Request) -> Response:
        return JSONResponse(room.state())

    async def model(request: Request) -> Response:
        found = room.models.get(request.path_params["n"])
        return _said("not kept any more", 404) if found is None else Response(found, media_type="application/json")

    async def piece(request: Request) -> Response:
        return JSONResponse(await room.piece(request.query_params.get("name", "")[:MOST_TEXT]))

    async def events(request: Request) -> Response:
        if room.listeners >= MOST_LISTENERS:
            return _said("too many pages are open", 503)
        return StreamingResponse(_stream(room), media_type="text/event-stream")

    async def change(request: Request) -> Response:
        asked = await _asked(request)
        path, typed = asked.get("path"), asked.get("value")
        if not isinstance(path, list) or not _is_path(path) or not isinstance(typed, str) or len(typed) > MOST_TEXT:
            raise HTTPException(400, "path is a list of keys, value a text")
        whole = asked.get("whole")
        await room.change(path, typed, whole=whole, going_on=asked.get("going_on") is True)
        return JSONResponse(room.state())

    def moved(how: Callable[[Desk], Any]) -> Callable[[Request], Awaitable[Response]]:
        async def move(request: Request) -> Response:
            await _asked(request)
            room.move(how)
            return JSONResponse(room.state())

        return move

    async def write(request: Request) -> Response:
        shown = (await _asked(request)).get("shown")
        if not isinstance(shown, str):
            raise HTTPException(400, "shown is the digest of what was looked at")
        room.write(shown)
        return JSONResponse(room.state())

    posts = {"change": change, "undo": moved(Desk.undo), "redo": moved(Desk.redo), "drop": moved(Desk.drop),
             "write": write}  # fmt: skip
    gets = {"": index, "state": state, "model/{n:int}": model, "piece": piece, "events": events}
    routes = [Route(f"/{token}/{path}", f, methods=["GET"]) for path, f in gets.items()]
    routes += [Route(f"/{token}/{path}", f, methods=["POST"]) for path, f in posts.items()]
    faults: dict[Any, Any] = {HTTPException: _http, BuildError: _wrong, InputError: _refused}
    return Guard(Starlette(routes=routes, exception_handlers=faults), token, ticket or "", port)


async def _stream(room: Room) -> AsyncIterator[bytes]:
    """Each state of the room as an event, and a sign of life between."""
    queue = room.listen()
    try:
        while True:
            try:
                state = await asyncio.wait_for(queue.get(), ALIVE_S)
            except TimeoutError:
                yield b":\n\n"
                continue
            yield b"data: " + json.dumps(state).encode("ascii") + b"\n\n"
    finally:
        room.unlisten(queue)


async def _asked(request: Request) -> Told:
    """The request's body: a JSON object within bounds."""
    body = b""
    async for part in request.stream():
        body += part
        if len(body) > MOST_BODY:
            raise HTTPException(413, f"at most {MOST_BODY} bytes")
    try:
        found = json.loads(body.decode("utf-8"))
    except (ValueError, RecursionError):
        raise HTTPException(400, "this is not JSON") from None
    if not isinstance(found, dict):
        raise HTTPException(400, "a JSON object is expected")
    return found


def _is_path(path: list[Any]) -> bool:
    return 0 < len(path) <= MOST_STEPS and all(
        isinstance(s, str | int) and not isinstance(s, bool) and len(str(s)) <= MOST_TEXT for s in path
    )


def _same(given: str, held: str) -> bool:
    return hmac.compare_digest(given.encode("utf-8", "replace"), held.encode())


def _said(words: str, status: int) -> Response:
    return JSONResponse({"said": words}, status)


async def _http(request: Request, e: HTTPException) -> Response:
    return _said(e.detail, e.status_code)


async def _wrong(request: Request, e: BuildError) -> Response:
    """What is wrong with a change: it was not made."""
    problems = [{"path": ".".join(map(str, p.path)), "said": p.message} for p in e.problems]
    return JSONResponse({"said": "; ".join(p.message for p in e.problems), "problems": problems}, 422)


async def _refused(request: Request, e: InputError) -> Response:
    return _said(str(e), 409 if isinstance(e, Refused) else 422)
