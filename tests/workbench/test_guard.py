"""Who may ask: another page in the browser, another user, another host, a body without end; all refused."""

import pytest
from starlette.testclient import TestClient

from cyclesim.workbench.app import app
from cyclesim.workbench.desk import Desk
from cyclesim.workbench.guard import MOST_BYTES, Guard
from tests.workbench.conftest import HOST, PLACE, TOKEN, let_in, told_by

GARDEN = "/api/plants/garden.yaml"


class TestAStranger:
    """Somebody without the printed address."""

    def test_sees_the_page_and_nothing_of_the_plants(self, stranger: TestClient) -> None:
        assert stranger.get("/").status_code == 200
        for path in (
            "/api/shelf",
            GARDEN,
            f"{GARDEN}/journal",
            "/api/none",
            f"{GARDEN}/handover/drawing.svg",
        ):
            assert stranger.get(path).status_code == 401, path

    def test_is_not_let_in_by_another_token(self, stranger: TestClient) -> None:
        for token in ("", "another", TOKEN[:-1], TOKEN + "x", "ü"):
            assert "set-cookie" not in let_in(stranger, token).headers
        stranger.cookies.set("cyclesim-8123", "another")
        assert stranger.get("/api/shelf").status_code == 401

    def test_is_let_in_by_the_token_once_and_for_this_server_alone(self, stranger: TestClient) -> None:
        """The cookie is for its own place: another port of this machine is not given it."""
        answer = let_in(stranger)
        assert answer.headers["location"] == f"{PLACE}/"
        parts = set(answer.headers["set-cookie"].split("; "))
        assert {"HttpOnly", "SameSite=Strict", f"Path={PLACE}"} <= parts
        assert stranger.get("/api/shelf").status_code == 200
        for path in ("/", "/api/shelf", "/assets/app.js", f"{PLACE}x/api/shelf", PLACE, "//api/shelf"):
            assert stranger.get(f"{HOST}{path}").status_code in (401, 403, 404), path

    def test_is_let_in_whatever_else_the_host_has_set(self, stranger: TestClient) -> None:
        """Other servers of this machine set cookies of their own for it, not all of them by the rules."""
        for others in ('a={"b": [1, 2]}; c="x', "=; ;;", "cyclesim-9999=x"):
            for cookies in (f"{others}; cyclesim-8123={TOKEN}", f"cyclesim-8123={TOKEN}; {others}"):
                assert stranger.get("/api/shelf", headers={"cookie": cookies}).status_code == 200, cookies
            assert stranger.get("/api/shelf", headers={"cookie": others}).status_code == 401

    def test_is_let_in_once_by_what_a_browser_was_given(self, desk: Desk) -> None:
        """Every user of the machine can read the words of a command: who comes later gets nothing."""
        guarded = Guard(app(desk), TOKEN, 8123, PLACE, once="a-word")
        first, second = told_by(guarded), told_by(guarded)
        assert let_in(first, "a-word").status_code == 303
        assert first.get("/api/shelf").status_code == 200
        for token in ("a-word", ""):
            assert "set-cookie" not in let_in(second, token).headers
        assert let_in(second).status_code == 303


class TestAnotherPage:
    """A page of the same browser, which has the cookie with it or not."""

    @pytest.mark.parametrize(
        "host",
        ["evil.example:8123", "127.0.0.1", "127.0.0.1:80", "localhost:8124", "127.0.0.1:8123.evil", ""],
    )
    def test_under_another_name_is_refused(self, client: TestClient, host: str) -> None:
        """A foreign name that was made to point to this machine is still foreign."""
        for path in ("/", "/api/shelf", "/assets/index.html"):
            assert client.get(path, headers={"host": host}).status_code == 400

    def test_is_ours_by_the_port_that_browsers_leave_out(self, desk: Desk) -> None:
        guarded = Guard(app(desk), TOKEN, 80, PLACE)
        assert TestClient(guarded, base_url=f"http://127.0.0.1{PLACE}").get("/").status_code == 200

    @pytest.mark.parametrize(
        "origin", ["http://evil.example", "http://127.0.0.1:9000", "https://127.0.0.1:8123", "null", ""]
    )
    def test_of_another_origin_changes_nothing(self, client: TestClient, origin: str) -> None:
        answer = client.post(f"{GARDEN}/undo", json={}, headers={"origin": origin})
        assert answer.status_code == 403
        assert client.delete("/api/jobs/x", headers={"origin": origin}).status_code == 403

    def test_without_an_origin_changes_nothing(self, client: TestClient) -> None:
        del client.headers["origin"]
        assert client.post(f"{GARDEN}/undo", json={}).status_code == 403

    def test_of_another_site_is_told_nothing(self, client: TestClient) -> None:
        for site in ("cross-site", "same-site"):
            answer = client.get("/api/shelf", headers={"sec-fetch-site": site})
            assert answer.status_code == 403
        assert client.get("/api/shelf", headers={"sec-fetch-site": "same-origin"}).status_code == 200

    def test_cannot_send_a_form(self, client: TestClient) -> None:
        """What a form can send is no JSON."""
        for kind in ("application/x-www-form-urlencoded", "text/plain", "multipart/form-data"):
            answer = client.post(f"{GARDEN}/undo", content=b"{}", headers={"content-type": kind})
            assert answer.status_code == 415


class TestAnAnswer:
    def test_tells_the_browser_what_it_may_do(self, client: TestClient) -> None:
        for path in ("/", "/api/shelf", "/assets/none.js", "/nothing", "/look.css"):
            headers = client.get(path).headers
            policy = headers["content-security-policy"]
            assert "default-src 'none'" in policy
            assert "unsafe" not in policy
            assert headers["x-content-type-options"] == "nosniff"
            assert "access-control-allow-origin" not in headers

    def test_is_a_sentence_where_a_request_is_wrong(self, client: TestClient) -> None:
        for body in (
            b"",
            b"[]",
            b"nonsense",
            b'{"version": 3}',
            b'{"version": "x", "changes": 7}',
            b"[" * 9999,
        ):
            answer = client.post(f"{GARDEN}/edit", content=body, headers={"content-type": "application/json"})
            assert answer.status_code == 400, body
            assert answer.json()["error"].endswith(".")

    def test_is_a_refusal_where_the_body_has_no_end(self, client: TestClient) -> None:
        """Told by its length or not: what comes in pieces is counted."""
        large = b'{"version": "' + b"x" * MOST_BYTES + b'"}'
        kind = {"content-type": "application/json"}
        assert client.post(f"{GARDEN}/edit", content=large, headers=kind).status_code == 413
        pieces = (large[k : k + 65_536] for k in range(0, len(large), 65_536))
        assert client.post(f"{GARDEN}/edit", content=pieces, headers=kind).status_code == 413

    def test_is_none_to_what_nobody_asks(self, client: TestClient) -> None:
        for method in ("PUT", "PATCH", "OPTIONS", "TRACE"):
            headers = {"content-type": "application/json", "origin": HOST}
            assert client.request(method, "/api/shelf", headers=headers).status_code == 405
