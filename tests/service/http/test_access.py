"""Keys, rates and other origins: who may ask, how often, and from which pages."""

from __future__ import annotations

import os
import stat
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient

from piecewright.service import cli
from piecewright.service.app import create_app
from piecewright.service.http.keys import BadKeys, Keys, new_key
from piecewright.service.settings import Settings
from tests.service.batches.asking import DEFAULTS, Json, do_all

PAGE = "https://guild.example"


def client_with(folder: Path, **more: Any) -> FlaskClient:
    settings = Settings(data=str(folder / "data"), broker="memory://", **more)
    return create_app(settings).test_client()


def bearer(key: str) -> dict[str, str]:
    return {"Authorization": f"Bearer {key}"}


class TestKeys:
    def test_the_file_has_no_key_in_it(self, tmp_path: Path) -> None:
        file = tmp_path / "keys"
        key = new_key(file, "ada")
        assert len(key) >= 43  # 256 bits in base 64
        assert file.read_text("ascii") == f"ada {sha256(key.encode()).hexdigest()}\n"
        assert stat.S_IMODE(file.stat().st_mode) == 0o600

    def test_a_key_is_its_owners(self, tmp_path: Path) -> None:
        file = tmp_path / "keys"
        given = {name: new_key(file, name) for name in ("ada", "wim")}
        keys = Keys(file)
        assert {name: keys.owner(key) for name, key in given.items()} == {
            "ada": "ada",
            "wim": "wim",
        }
        assert keys.owner(given["ada"][:-1]) is None
        assert keys.owner("ключ\ud800") is None

    def test_a_key_that_is_taken_out_opens_nothing_any_more(self, tmp_path: Path) -> None:
        file = tmp_path / "keys"
        ada, wim = new_key(file, "ada"), new_key(file, "wim")
        keys = Keys(file)
        assert keys.owner(ada) == "ada"
        kept = [line for line in file.read_text().splitlines() if not line.startswith("ada")]
        file.write_text("# the guild\n\n" + "\n".join(kept))
        assert keys.owner(ada) is None
        assert keys.owner(wim) == "wim"

    def test_a_key_is_put_on_a_line_of_its_own(self, tmp_path: Path) -> None:
        file = tmp_path / "keys"
        file.write_text(f"wim {sha256(b'of old').hexdigest()}")  # its last line is left open
        ada = new_key(file, "ada")
        keys = Keys(file)
        assert (keys.owner("of old"), keys.owner(ada)) == ("wim", "ada")

    @pytest.mark.parametrize(
        "written", ["ada", "ada 1234", "ada " + "G" * 64, f"ada {'0' * 64}\nada {'1' * 64}"]
    )
    def test_a_file_that_is_none_is_refused(self, tmp_path: Path, written: str) -> None:
        file = tmp_path / "keys"
        file.write_text(written)
        with pytest.raises(BadKeys, match="line"):
            Keys(file)

    def test_the_command_shows_a_key_once(
        self, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
    ) -> None:
        file = tmp_path / "keys"
        monkeypatch.setenv("PIECEWRIGHT_KEYS", str(file))
        assert cli.main(["keys", "ada"]) == cli.GOOD
        assert Keys(file).owner(capsys.readouterr().out.strip()) == "ada"
        assert cli.main(["keys", "ada"]) == cli.MISUSED
        assert cli.main(["keys", "two words"]) == cli.MISUSED
        monkeypatch.delenv("PIECEWRIGHT_KEYS")
        assert cli.main(["keys", "wim"]) == cli.MISUSED


class TestWithKeys:
    @pytest.fixture
    def keys(self, tmp_path: Path) -> dict[str, str]:
        return {name: new_key(tmp_path / "keys", name) for name in ("ada", "wim")}

    @pytest.fixture
    def client(self, tmp_path: Path, keys: dict[str, str]) -> FlaskClient:
        return client_with(tmp_path, keys=str(tmp_path / "keys"))

    @pytest.mark.parametrize(
        ("method", "path"),
        [
            ("GET", "/v1/blocks"),
            ("POST", "/v1/templates"),
            ("POST", "/v1/batches"),
            ("GET", "/v1/batches/any"),
            ("GET", "/v1/nothing"),
            ("GET", "/metrics"),
        ],
    )
    def test_every_address_needs_one(self, client: FlaskClient, method: str, path: str) -> None:
        answer = client.open(path, method=method)
        assert answer.status_code == 401
        assert answer.headers["WWW-Authenticate"].startswith("Bearer")  # RFC 6750, section 3
        assert answer.mimetype == "application/problem+json"

    @pytest.mark.parametrize(
        "given", ["Bearer", "Bearer ", "Bearer wrong", "Basic YTpi", "nothing"]
    )
    def test_another_is_not_taken(self, client: FlaskClient, given: str) -> None:
        assert client.get("/v1/blocks", headers={"Authorization": given}).status_code == 401

    @pytest.mark.parametrize("path", ["/health", "/openapi.json", "/docs", "/problems/not-found"])
    def test_what_the_service_says_of_itself_is_open(self, client: FlaskClient, path: str) -> None:
        assert client.get(path).status_code == 200

    def test_whether_one_is_needed_is_told_without_one(
        self, client: FlaskClient, tmp_path: Path
    ) -> None:
        told = client.get("/v1/settings")
        assert told.status_code == 200
        assert told.json is not None
        assert told.json["key_needed"] is True
        open_to_all = client_with(tmp_path).get("/v1/settings").json
        assert open_to_all is not None
        assert open_to_all["key_needed"] is False

    def test_nobody_is_let_in_while_the_file_cannot_be_used(
        self, client: FlaskClient, keys: dict[str, str], tmp_path: Path
    ) -> None:
        (tmp_path / "keys").write_text("no line of keys")
        broken = client.get("/v1/blocks", headers=bearer(keys["ada"]))
        (tmp_path / "keys").unlink()
        gone = client.get("/v1/blocks", headers=bearer(keys["ada"]))
        for answer in (broken, gone):
            assert answer.status_code == 503
            assert answer.mimetype == "application/problem+json"
            assert str(tmp_path) not in answer.get_data(as_text=True)

    def test_a_key_opens(self, client: FlaskClient, keys: dict[str, str]) -> None:
        assert client.get("/v1/blocks", headers=bearer(keys["ada"])).status_code == 200

    def test_nobody_reads_anothers_batch(
        self, client: FlaskClient, keys: dict[str, str], tmp_path: Path
    ) -> None:
        ada, wim = bearer(keys["ada"]), bearer(keys["wim"])
        body: Json = {"defaults": DEFAULTS, "items": [{"for": "Ada"}]}
        made = client.post("/v1/batches", json=body, headers=ada)
        assert made.status_code == 202
        do_all(Settings(data=str(tmp_path / "data"), broker="memory://"))
        own = made.headers["Location"]
        for path in (own, f"{own}/items/1", f"{own}/archive"):
            assert client.get(path, headers=ada).status_code == 200
            hidden = client.get(path, headers=wim)
            absent = client.get(path.replace(own, "/v1/batches/" + "x" * 32), headers=wim)
            assert hidden.status_code == absent.status_code == 404
            assert hidden.json == absent.json
            assert client.get(path).status_code == 401
        assert client.delete(own, headers=wim).status_code == 404
        assert client.get(own, headers=ada).status_code == 200


class TestRates:
    def test_too_many_requests_are_told_when_to_come_again(self, tmp_path: Path) -> None:
        client = client_with(tmp_path, rate=3)
        answers = [client.get("/v1/blocks") for _ in range(4)]
        assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
        left = [answer.headers["RateLimit"] for answer in answers]
        assert [message.split(";")[1] for message in left] == ["r=2", "r=1", "r=0", "r=0"]
        assert 1 <= int(answers[-1].headers["Retry-After"]) <= 60
        assert answers[-1].mimetype == "application/problem+json"
        assert client.get("/health").status_code == 200

    def test_everybody_has_their_own(self, tmp_path: Path) -> None:
        keys = {name: new_key(tmp_path / "keys", name) for name in ("ada", "wim")}
        client = client_with(tmp_path, rate=1, keys=str(tmp_path / "keys"))
        for status in (200, 429):
            for key in keys.values():
                assert client.get("/v1/blocks", headers=bearer(key)).status_code == status


class TestOrigins:
    """The CORS protocol of the Fetch standard."""

    def test_a_listed_page_may_ask_and_read(self, tmp_path: Path) -> None:
        keys = new_key(tmp_path / "keys", "ada")
        client = client_with(
            tmp_path, origins=f"https://other.example, {PAGE}", keys=str(tmp_path / "keys")
        )
        before = client.options(
            "/v1/templates",
            headers={
                "Origin": PAGE,
                "Access-Control-Request-Method": "POST",
                "Access-Control-Request-Headers": "authorization, content-type",
            },
        )
        assert before.status_code == 204
        assert before.headers["Access-Control-Allow-Origin"] == PAGE
        assert "POST" in before.headers["Access-Control-Allow-Methods"]
        allowed = before.headers["Access-Control-Allow-Headers"].lower()
        assert "authorization" in allowed
        assert "content-type" in allowed
        answer = client.get("/v1/blocks", headers={"Origin": PAGE, **bearer(keys)})
        assert answer.status_code == 200
        assert answer.headers["Access-Control-Allow-Origin"] == PAGE
        assert "Location" in answer.headers["Access-Control-Expose-Headers"]
        assert "Origin" in answer.headers["Vary"]

    @pytest.mark.parametrize("origins", ["", "https://other.example"])
    def test_another_page_may_not(self, tmp_path: Path, origins: str) -> None:
        client = client_with(tmp_path, origins=origins)
        answer = client.get("/v1/blocks", headers={"Origin": PAGE})
        assert "Access-Control-Allow-Origin" not in answer.headers

    def test_a_star_is_for_all(self, tmp_path: Path) -> None:
        client = client_with(tmp_path, origins="*")
        answer = client.get("/v1/nothing", headers={"Origin": PAGE})
        assert answer.status_code == 404
        assert answer.headers["Access-Control-Allow-Origin"] == "*"


@pytest.mark.parametrize("path", ["/v1/blocks", "/docs", "/v1/nothing", "/health"])
def test_every_answer_has_the_headers_that_browsers_guard_by(
    client: FlaskClient, path: str
) -> None:
    headers = client.get(path).headers
    assert headers["X-Content-Type-Options"] == "nosniff"
    assert "frame-ancestors 'none'" in headers["Content-Security-Policy"]
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["Cross-Origin-Resource-Policy"] == "same-origin"
    assert "camera=()" in headers["Permissions-Policy"]


def test_a_file_of_keys_that_cannot_be_read_is_found_at_the_start(tmp_path: Path) -> None:
    with pytest.raises(OSError, match="keys"):
        client_with(tmp_path, keys=os.fspath(tmp_path / "keys"))


def test_requests_are_answered_though_they_cannot_be_counted(tmp_path: Path) -> None:
    """Where rates are shared over Redis, and there is none."""
    settings = Settings(data=str(tmp_path), broker="redis://127.0.0.1:1/0", rate=1)
    client = create_app(settings).test_client()
    assert [client.get("/v1/blocks").status_code for _ in range(2)] == [200, 200]


@pytest.mark.parametrize(("proxies", "statuses"), [(0, [200, 429]), (1, [200, 200])])
def test_addresses_come_from_a_proxy_of_ones_own_alone(
    tmp_path: Path, proxies: int, statuses: list[int]
) -> None:
    client = client_with(tmp_path, rate=1, proxies=proxies)
    asked = [
        client.get("/v1/blocks", headers={"X-Forwarded-For": f"192.0.2.{n}"}) for n in range(2)
    ]
    assert [answer.status_code for answer in asked] == statuses


def test_a_name_that_turns_the_words_of_a_file_name_round_is_refused(client: FlaskClient) -> None:
    body = {"block": "spools", "for": "ada\u202efdp.exe"}
    answer = client.post("/v1/packet", json=body)
    assert answer.status_code == 422
