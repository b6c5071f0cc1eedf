"""Who may speak to the desk: one guard before everything that the server answers, pages and sockets alike."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import secrets
import socket
from collections.abc import Awaitable, Callable, Iterable, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

# What one request may carry, in bytes.
MOST_BYTES = 200_000_000
TOKEN = "token"
# Code of a socket that is refused (RFC 6455, section 7.4.1: policy violation).
_REFUSED = 1008
_SAFE = ("GET", "HEAD", "OPTIONS")
# What a proxy would add: there is none before the desk, and a page is not to be built from it.
_FORWARDED = (b"forwarded", b"x-forwarded-")
# A page lets in what this server hands out and nothing else. NiceGUI compiles templates in the page.
_POLICY = (
    "default-src 'self'; script-src 'self' 'unsafe-inline' 'unsafe-eval'; style-src 'self' 'unsafe-inline'; "
    "img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self' {sockets}; "
    "worker-src 'self' blob:; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'"
)


@dataclass
class Guard:
    """Lets through who comes from the desk's own page with the cookie of this start.

    Host is checked against a name that was made to lead here (DNS rebinding), Origin against pages of others,
    the cookie against other users of this machine. Sockets are checked as requests are: a middleware for
    http alone never sees them.

    Parameters
    ----------
    app : callable
        What is guarded, an ASGI application (ASGI 3.0, scopes ``http`` and ``websocket``).
    hosts : iterable of str
        Names and addresses the server may be called by; ``*`` for any address in digits.
    port : int
        Port it listens on.
    most_bytes : int
        What one request may carry.
    token : str
        What a start of the server hands to those who may come in.
    """

    app: App
    hosts: Iterable[str]
    port: int
    most_bytes: int = MOST_BYTES
    token: str = field(default_factory=lambda: secrets.token_urlsafe(32))

    def __post_init__(self) -> None:
        self.hosts = frozenset(host.lower() for host in self.hosts)
        # Ports share cookies: two desks on one machine need two names.
        self.cookie_name = f"orient_desk_{self.port}"
        self._cookie = hmac.new(self.token.encode(), b"cookie", hashlib.sha256).hexdigest()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer, refuse or let through; an ASGI application."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        elif scope["type"] == "http":
            await self._request(scope, receive, send)
        elif scope["type"] == "websocket":
            await self._socket(scope, receive, send)

    async def _request(self, scope: Scope, receive: Receive, send: Send) -> None:
        host = _only(scope, b"host")
        if not self._known(host):
            await _say(send, 421, "This desk is not called by that name: use the address that it printed.")
            return
        if not self._own_page(scope, host):
            await _say(send, 403, "That request came from another page than the desk's own: it is refused.")
            return
        if scope["method"] in ("GET", "HEAD") and (given := self._token_of(scope)) is not None:
            if hmac.compare_digest(given.encode(), self.token.encode()):
                await self._exchange(scope, send)
            else:
                await _say(
                    send, 403, "That token is not of this start: use the address that was printed last."
                )
            return
        if not self._has_cookie(scope):
            words = (
                "This desk opens by the address that it printed when it started, with its token: use that."
            )
            await _say(send, 403, words)
            return
        await self._count(scope, receive, self._closed(send, host))

    async def _socket(self, scope: Scope, receive: Receive, send: Send) -> None:
        host = _only(scope, b"host")
        # A browser always says where a socket comes from (RFC 6455, section 4.1); who does not is none.
        own = self._known(host) and _only(scope, b"origin") == f"http://{host}" and self._has_cookie(scope)
        if not own:
            await receive()
            await send({"type": "websocket.close", "code": _REFUSED, "reason": "refused"})
            return
        await self.app(_without_proxies(scope), receive, send)

    def _known(self, host: str | None) -> bool:
        """Whether a Host header is one of the server's own."""
        if host is None:
            return False
        name, _, port = host.lower().rpartition(":") if not host.endswith("]") else (host, "", "")
        if not name:
            name, port = host.lower(), ""
        if port != str(self.port) and not (port == "" and self.port == 80):
            return False
        name = name.removeprefix("[").removesuffix("]")
        return name in self.hosts or ("*" in self.hosts and _is_address(name))

    def _own_page(self, scope: Scope, host: str | None) -> bool:
        """Whether a request comes from the desk's page, or from who opened it by hand."""
        origin = _only(scope, b"origin")
        if origin is not None or scope["method"] not in _SAFE:
            # What changes something must say where it comes from (Fetch standard: every POST does).
            return origin == f"http://{host}"
        site = _only(scope, b"sec-fetch-site")
        # A link on another page may lead here, but nothing of this server may be drawn into that page.
        return site in (None, "none", "same-origin") or _only(scope, b"sec-fetch-mode") == "navigate"

    def _token_of(self, scope: Scope) -> str | None:
        if scope["path"] != "/":
            return None
        return parse_qs(scope["query_string"].decode("latin-1")).get(TOKEN, [None])[0]

    def _has_cookie(self, scope: Scope) -> bool:
        for value in _all(scope, b"cookie"):
            try:
                found = SimpleCookie(value).get(self.cookie_name)
            except CookieError:
                continue
            if found is not None and hmac.compare_digest(found.value.encode(), self._cookie.encode()):
                return True
        return False

    async def _exchange(self, scope: Scope, send: Send) -> None:
        """Give the cookie for the token, and take the token out of the address."""
        cookie = f"{self.cookie_name}={self._cookie}; Path=/; HttpOnly; SameSite=Strict"
        headers = [(b"location", b"/"), (b"set-cookie", cookie.encode()), (b"cache-control", b"no-store")]
        headers.append((b"referrer-policy", b"no-referrer"))
        headers.append((b"content-length", b"0"))
        await send({"type": "http.response.start", "status": 303, "headers": headers})
        await send({"type": "http.response.body", "body": b""})

    async def _count(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, but no more of its body than is allowed."""
        words = f"More than {self.most_bytes / 1e6:,.0f} MB are not taken: export the part coarser."
        stated = _only(scope, b"content-length")
        if stated is not None and (not stated.isdecimal() or int(stated) > self.most_bytes):
            await _say(send, 413, words)
            return
        seen, begun, over = 0, False, False

        async def counted() -> Message:
            nonlocal seen, over
            if over:
                return {"type": "http.disconnect"}
            message = await receive()
            if message["type"] == "http.request":
                seen += len(message.get("body", b""))
                if seen > self.most_bytes:
                    over = True
                    return {"type": "http.disconnect"}
            return message

        async def sent(message: Message) -> None:
            nonlocal begun
            if over and not begun:
                return  # the answer to half a body; the refusal follows
            begun = True
            await send(message)

        try:
            await self.app(_without_proxies(scope), counted, sent)
        except Exception:
            if not over:
                raise
        if over and not begun:
            await _say(send, 413, words)

    def _closed(self, send: Send, host: str | None) -> Send:
        """Add to every answer that nothing from elsewhere may be loaded into it, nor it into others."""
        policy = _POLICY.format(sockets=f"ws://{host}")
        added = [
            (b"content-security-policy", policy.encode("latin-1", "ignore")),
            (b"x-content-type-options", b"nosniff"),
            (b"referrer-policy", b"no-referrer"),
            (b"cross-origin-opener-policy", b"same-origin"),
            (b"cross-origin-resource-policy", b"same-origin"),
        ]
        names = [name for name, _ in added]

        async def closed(message: Message) -> None:
            if message["type"] == "http.response.start":
                kept = [one for one in message.get("headers", ()) if bytes(one[0]).lower() not in names]
                message = {**message, "headers": [*kept, *added]}
            await send(message)

        return closed


def hosts_of(host: str, allow_remote: bool) -> tuple[str, ...]:
    """Names that a server on an address may be called by.

    Parameters
    ----------
    host : str
        What it listens on, as it was given.
    allow_remote : bool
        Whether it may be reached from other machines.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> hosts_of("127.0.0.1", False)
    ('127.0.0.1', 'localhost')
    """
    if is_loopback(host):
        return tuple(dict.fromkeys((host, "localhost")))
    if not allow_remote:
        return ()
    if _is_address(host) and ipaddress.ip_address(host).is_unspecified:
        # An address in digits cannot be made to lead here by a name server, a name can.
        return ("*", "localhost", socket.gethostname())
    return (host,)


def is_loopback(host: str) -> bool:
    """True for an address that only this machine can reach.

    Examples
    --------
    >>> is_loopback("127.0.0.1"), is_loopback("::1"), is_loopback("localhost"), is_loopback("0.0.0.0")
    (True, True, True, False)
    """
    return host == "localhost" or (_is_address(host) and ipaddress.ip_address(host).is_loopback)


def _is_address(name: str) -> bool:
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _all(scope: Scope, name: bytes) -> list[str]:
    return [value.decode("latin-1") for key, value in scope["headers"] if key.lower() == name]


def _only(scope: Scope, name: bytes) -> str | None:
    """The value of a header that may stand once; one that stands twice matches nothing."""
    found = _all(scope, name)
    return None if not found else found[0] if len(found) == 1 else "\n".join(found)


def _without_proxies(scope: Scope) -> Scope:
    kept = [one for one in scope["headers"] if not one[0].lower().startswith(_FORWARDED)]
    return {**scope, "headers": kept}


async def _say(send: Send, status: int, words: str) -> None:
    body = words.encode()
    headers = [
        (b"content-type", b"text/plain; charset=utf-8"),
        (b"content-length", str(len(body)).encode()),
        (b"cache-control", b"no-store"),
        (b"x-content-type-options", b"nosniff"),
        # What was not read of a body is not to be taken for the next request.
        (b"connection", b"close"),
    ]
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
