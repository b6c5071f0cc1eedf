"""Who is let in and who is not, asked of a server that runs, over the wire."""

import ast
import re
import socket
import urllib.parse

import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from orient.desk.guard import MOST_BYTES, Guard, hosts_of
from orient.desk.serve import serve
from orient.errors import OrientError
from tests.desk.desks import running

SOCKET = "/_nicegui_ws/socket.io/?EIO=4&transport=websocket"


def opened(desk, *, origin, cookie, host=None):
    """What the server first says through a socket, or the status it refuses with."""
    headers = {} if cookie is None else {"Cookie": cookie}
    with socket.create_connection(("127.0.0.1", desk.port)) as link:
        try:
            uri = f"ws://{host or desk.host}{SOCKET}"
            with connect(uri, sock=link, origin=origin, additional_headers=headers) as talk:
                return talk.recv(timeout=10)
        except InvalidStatus as refused:
            return refused.response.status_code


def own(desk):
    return f"http://{desk.host}"


def test_a_page_is_served_to_who_has_the_cookie(plain):
    status, headers, text = plain.ask(Cookie=plain.cookie())
    assert status == 200
    assert "orient desk" in text
    # Content Security Policy level 3: nothing from elsewhere, no frame around it.
    policy = headers["content-security-policy"]
    assert "default-src 'self'" in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"


def test_the_token_is_exchanged_for_a_cookie_that_scripts_cannot_read(plain):
    status, headers, _ = plain.ask(path=f"/?token={plain.token}")
    assert (status, headers["location"]) == (303, "/")
    assert "HttpOnly" in headers["set-cookie"]
    assert "SameSite=Strict" in headers["set-cookie"]
    assert plain.token not in headers["set-cookie"]


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/?token=",
        "/?token=wrong",
        "/shelf/0",
        "/favicon.ico",
        "/_nicegui_ws/socket.io/?EIO=4&transport=polling",
    ],
)
def test_nothing_is_served_without_token_or_cookie(plain, path):
    status, headers, _ = plain.ask(path=path)
    assert status == 403
    assert "set-cookie" not in headers


def test_the_cookie_of_another_start_opens_nothing(plain):
    name = plain.cookie().partition("=")[0]
    assert plain.ask(Cookie=f"{name}={'0' * 64}")[0] == 403
    assert plain.ask(Cookie=f"{name}=")[0] == 403
    # A value that is no text of a cookie (RFC 6265, section 4.1.1).
    assert plain.ask(Cookie=f"{name}=\xff\xfe; ,;=")[0] == 403


@pytest.mark.parametrize(
    "host", ["evil.example", "evil.example:{port}", "127.0.0.1", "127.0.0.1:1", "", None]
)
def test_a_name_made_to_lead_here_is_refused(plain, host):
    """DNS rebinding: the browser believes that it speaks to a host of the page's own origin."""
    told = None if host is None else host.format(port=plain.port)
    status = plain.ask(Host=told, Cookie=plain.cookie())[0]
    # Without any Host a request is not HTTP/1.1 (RFC 9112, section 3.2): the server itself may say so.
    assert status in (400, 421)


def test_localhost_is_this_machine_too(plain):
    host = f"localhost:{plain.port}"
    assert plain.ask(Host=host, Cookie=plain.cookie())[0] == 200


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "https://127.0.0.1:{port}", "http://127.0.0.1:1"]
)
def test_a_request_from_another_page_is_refused(plain, origin):
    told = origin.format(port=plain.port)
    assert plain.ask(Origin=told, Cookie=plain.cookie())[0] == 403
    assert plain.ask("POST", body=b"x", Origin=told, Cookie=plain.cookie())[0] == 403


def test_what_changes_something_must_say_where_it_comes_from(plain):
    assert plain.ask("POST", body=b"x", Cookie=plain.cookie())[0] == 403


def test_nothing_is_drawn_into_another_page(plain):
    cookie = plain.cookie()
    asked = {"Cookie": cookie, "Sec_Fetch_Site": "cross-site"}
    assert plain.ask(path="/favicon.ico", Sec_Fetch_Mode="no-cors", **asked)[0] == 403
    assert plain.ask(path="/favicon.ico", Sec_Fetch_Mode="no-cors", Cookie=cookie)[0] == 200
    # Whoever follows a link to the desk arrives.
    assert plain.ask(Sec_Fetch_Mode="navigate", **asked)[0] == 200


def test_a_socket_of_the_page_itself_opens(plain):
    # Engine.IO protocol 4: the first packet, of type 0, opens the session.
    assert opened(plain, origin=own(plain), cookie=plain.cookie()).startswith('0{"sid"')


def test_a_socket_with_a_foreign_origin_is_refused(plain):
    cookie = plain.cookie()
    assert opened(plain, origin="http://evil.example", cookie=cookie) == 403
    assert opened(plain, origin=None, cookie=cookie) == 403
    assert opened(plain, origin="null", cookie=cookie) == 403


def test_a_socket_without_the_token_is_refused(plain):
    assert opened(plain, origin=own(plain), cookie=None) == 403
    assert opened(plain, origin=own(plain), cookie="orient_desk=1") == 403


def test_a_socket_under_another_name_is_refused(plain):
    host = f"evil.example:{plain.port}"
    assert opened(plain, origin=f"http://{host}", cookie=plain.cookie(), host=host) == 403


def test_a_token_is_not_taken_by_a_socket(plain):
    with socket.create_connection(("127.0.0.1", plain.port)) as link:
        uri = f"ws://{plain.host}{SOCKET}&token={plain.token}"
        with pytest.raises(InvalidStatus, match="403"), connect(uri, sock=link, origin=own(plain)):
            pass


def test_no_more_is_taken_than_200_mb_unless_it_is_asked_for():
    assert MOST_BYTES == 200_000_000
    assert Guard(None, ("127.0.0.1",), 1).most_bytes == MOST_BYTES


def test_a_body_that_is_said_to_be_too_large_is_not_read(plain):
    asked = {"Cookie": plain.cookie(), "Origin": own(plain)}
    status, _, words = plain.ask("POST", "/", Content_Length="3000001", **asked)
    assert (status, "3 MB" in words) == (413, True)


def test_a_body_that_does_not_say_its_size_is_counted(plain):
    """Chunked transfer (RFC 9112, section 7.1) states no length."""

    kind = "multipart/form-data; boundary=b"
    head = b'--b\r\nContent-Disposition: form-data; name="f"; filename="f.stl"\r\n\r\n'

    def form():
        yield head
        for _ in range(400):
            yield b"x" * 100_000

    asked = {"Cookie": plain.cookie(), "Origin": own(plain), "Content_Type": kind}
    path = plain_upload(plain)
    assert plain.ask("POST", path, body=form(), **asked)[0] == 413


def plain_upload(desk):
    """The address that a page of the desk sends files to; it is there as soon as a socket is."""
    cookie = desk.cookie()
    _, _, page = desk.ask(Cookie=cookie)
    query = ast.literal_eval(re.search(r"query: (\{.*?\})", page)[1])
    words = urllib.parse.urlencode({**query, "tab_id": "t", "document_id": "d", "implicit_handshake": "true"})
    with socket.create_connection(("127.0.0.1", desk.port)) as link:
        uri = f"ws://{desk.host}{SOCKET}&{words}"
        with connect(uri, sock=link, origin=own(desk), additional_headers={"Cookie": cookie}) as talk:
            talk.recv(timeout=10)
            talk.send("40")
            for _ in range(50):
                found = re.search(r"/_nicegui/client/[-0-9a-f]+/upload/\d+", str(talk.recv(timeout=10)))
                if found:
                    return found[0]
    raise AssertionError("the page has no place for files")


def test_forwarding_headers_of_a_proxy_are_not_believed(plain):
    _, _, page = plain.ask(Cookie=plain.cookie(), X_Forwarded_Prefix="/evil-prefix")
    assert "evil-prefix" not in page


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.1"])
def test_other_machines_are_let_in_only_when_it_is_asked_for(host):
    with pytest.raises(OrientError, match="--allow-remote"):
        serve(lambda visitor, mesh: None, host=host, browser=False)


def test_a_desk_for_other_machines_serves_nothing_without_its_token():
    with running(0, 3_000_000, "0.0.0.0") as desk:
        own_address = desk.address.removeprefix("http://").partition("/")[0]
        for host in (own_address, desk.host):
            assert desk.ask(Host=host)[0] == 403
            assert desk.ask(Host=host, path="/favicon.ico")[0] == 403
            assert desk.ask(Host=host, path=f"/?token={desk.token}")[0] == 303
            assert desk.ask(Host=host, Cookie=desk.cookie())[0] == 200
        assert desk.ask(Host=f"evil.example:{desk.port}", Cookie=desk.cookie())[0] == 421
        assert opened(desk, origin=f"http://{own_address}", cookie=None, host=own_address) == 403
        assert any("not encrypted" in line for line in desk.lines)


def test_a_desk_for_all_addresses_answers_to_addresses_but_not_to_foreign_names():
    guard = Guard(None, hosts_of("0.0.0.0", True), 8674)
    # Addresses for documentation (RFC 5737, RFC 3849).
    assert guard._known("192.0.2.7:8674")
    assert guard._known("[2001:db8::1]:8674")
    assert not guard._known("evil.example:8674")


def test_a_port_that_is_taken_is_told_in_a_sentence():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        with pytest.raises(OrientError, match=f"port {port} of 127.0.0.1"):
            serve(lambda visitor, mesh: None, port=port, browser=False)
