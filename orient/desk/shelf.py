"""What the browser fetches by itself, meshes, colours, pictures: each under a name that nobody can guess."""

from __future__ import annotations

import gzip
import hashlib
import hmac
import secrets
from collections import OrderedDict
from dataclasses import dataclass, field

from fastapi import FastAPI
from fastapi.responses import Response

PATH = "/shelf/{name}"
# What lies on one visitor's shelf; what was put there longest ago goes first.
MOST_BYTES = 80_000_000
# Pictures are packed already.
_PACKED = ("image/png",)


@dataclass(frozen=True)
class _Item:
    body: bytes
    media_type: str
    packed: bool


_ITEMS: dict[str, _Item] = {}


@dataclass
class Shelf:
    """What one visitor's browser may fetch.

    Attributes
    ----------
    secret : bytes
        Makes the names; the same bytes keep their name, so that a browser fetches them once.
    """

    secret: bytes = field(default_factory=lambda: secrets.token_bytes(32))
    _sizes: OrderedDict[str, int] = field(default_factory=OrderedDict)
    _before: set[str] = field(default_factory=set)

    def put(self, body: bytes, media_type: str = "application/octet-stream") -> str:
        """Lay bytes down and give the address to fetch them from.

        Parameters
        ----------
        body : bytes
            What to hand out.
        media_type : str
            What it is.

        Returns
        -------
        str
            A path on this server.

        Examples
        --------
        >>> shelf = Shelf(b"0")
        >>> shelf.put(b"a") == shelf.put(b"a"), shelf.put(b"a") == shelf.put(b"b")
        (True, False)
        >>> shelf.clear()
        """
        digest = hmac.new(self.secret, media_type.encode() + b"\n" + body, hashlib.sha256)
        name = digest.hexdigest()[:40]
        if name not in _ITEMS:
            packed = media_type not in _PACKED
            body = gzip.compress(body, 6, mtime=0) if packed else body
            _ITEMS[name] = _Item(body, media_type, packed)
            self._sizes[name] = len(body)
        self._sizes.move_to_end(name)
        self._before.discard(name)
        while sum(self._sizes.values()) > MOST_BYTES and len(self._sizes) > 1:
            oldest, _ = self._sizes.popitem(last=False)
            del _ITEMS[oldest]
        return PATH.format(name=name)

    def size(self, address: str) -> int:
        """Bytes that go to the browser for an address."""
        return self._sizes[address.rpartition("/")[2]]

    def renew(self) -> None:
        """Begin with another part: what was there before the last one goes, which may still be on its way.

        Examples
        --------
        >>> shelf = Shelf(b"0")
        >>> first = shelf.put(b"a"); shelf.renew(); shelf.size(first) > 0
        True
        >>> shelf.renew(); hand_out(first.rpartition("/")[2]).status_code
        404
        >>> shelf.clear()
        """
        for name in self._before & self._sizes.keys():
            del _ITEMS[name], self._sizes[name]
        self._before = set(self._sizes)

    def clear(self) -> None:
        """Take everything down."""
        for name in self._sizes:
            _ITEMS.pop(name, None)
        self._sizes.clear()


def hand_out(name: str) -> Response:
    """Answer a browser that asks for an item."""
    item = _ITEMS.get(name)
    if item is None:
        return Response("There is nothing under this name any more: load the page again.", 404)
    headers = {"Cache-Control": "private, max-age=86400, immutable", "X-Content-Type-Options": "nosniff"}
    if item.packed:
        headers["Content-Encoding"] = "gzip"
    return Response(item.body, media_type=item.media_type, headers=headers)


def open_shelves(app: FastAPI) -> None:
    """Let an application hand out what lies on shelves; once is enough."""
    if not any(getattr(route, "path", None) == PATH for route in app.routes):
        app.add_api_route(PATH, hand_out, methods=["GET"], include_in_schema=False)
