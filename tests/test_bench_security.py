"""Who may talk to the bench, and what it answers to everyone else."""

from pathlib import Path
from typing import Any

import pytest

from hoopwise.bench import uploads
from hoopwise.bench.app import Phone, build_app
from hoopwise.bench.assets import assets, content_hash
from hoopwise.bench.desk import Desk
from hoopwise.bench.security import COOKIE, PAIRING_S, POLICY, Pairing
from hoopwise.bench.store import Store
from tests.bench_asgi import Client
from tests.bench_scripted import ScriptedEngine

HERE = "http://127.0.0.1:9000"
THERE = "https://192.0.2.7:9001"
SAME = {"origin": HERE}
PAGES = ["/", "/health", "/drums.json", "/protocol.json", f"/static/{content_hash()}/own/main.js"]


class Clock:
    now = 0.0

    def __call__(self) -> float:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def pairing(clock: Clock) -> Pairing:
    return Pairing(clock)


@pytest.fixture
def app(tmp_path: Path, pairing: Pairing) -> Any:
    desk = Desk(ScriptedEngine(), Store(tmp_path))
    return build_app(desk, [HERE, THERE], Phone(THERE, "AB:CD", pairing))


@pytest.fixture
def local(app: Any) -> Client:
    return Client(app, HERE)


@pytest.fixture
def phone(app: Any) -> Client:
    return Client(app, THERE)


@pytest.mark.parametrize("path", PAGES)
def test_every_answer_carries_the_policy(local: Client, path: str) -> None:
    answer = local.get(path)
    assert answer.status_code == 200
    assert answer.headers["content-security-policy"] == POLICY
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"


def test_the_policy_allows_neither_eval_nor_inline_nor_strangers() -> None:
    assert "unsafe" not in POLICY and "http" not in POLICY and "*" not in POLICY
    assert POLICY.startswith("default-src 'none'")


def test_the_page_names_no_other_server(local: Client) -> None:
    for text in [
        local.get("/").text,
        *(a.data.decode() for n, a in assets().items() if n.endswith((".js", ".css"))),
    ]:
        outside = text.replace("http://www.w3.org/", "").replace("http://127.0.0.1", "")
        assert "https://" not in outside and "http://" not in outside


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:9001", "localhost:9000"])
def test_another_host_name_is_not_answered(local: Client, path: str, host: str) -> None:
    assert local.get(path, headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "headers",
    [
        {},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": "http://127.0.0.1:1"},
        {"origin": THERE},
    ],
)
@pytest.mark.parametrize("path", ["/recordings", "/drum-file"])
def test_posts_from_elsewhere_are_refused(
    local: Client, path: str, headers: dict[str, str]
) -> None:
    assert local.post(path, content=b"x", headers=headers).status_code == 403


@pytest.mark.parametrize("headers", [{}, {"origin": "http://evil.example"}, {"origin": THERE}])
def test_sockets_from_elsewhere_are_refused(local: Client, headers: dict[str, str]) -> None:
    assert local.socket_is_refused("/live", headers)
    assert not local.socket_is_refused("/live", SAME)


@pytest.mark.parametrize(
    "path",
    [
        "/static/x/own/main.js",
        f"/static/{content_hash()}/../app.py",
        f"/static/{content_hash()}/%2e%2e/app.py",
        f"/static/{content_hash()}/own/..%2f..%2fapp.py",
        f"/static/{content_hash()}//etc/passwd",
        f"/static/{content_hash()}/own/types.d.ts",
        "/takes/../session.flac",
        "/takes/..%2fsession.flac",
        "/takes/0123456789abcdef.flac",
        "/takes/%00.flac",
    ],
)
def test_no_path_leads_out(local: Client, path: str) -> None:
    answer = local.get(path)
    assert answer.status_code == 404
    assert "hoopwise.bench" not in answer.text and "root:" not in answer.text


def test_assets_may_be_kept_for_ever_and_pages_not(local: Client) -> None:
    assert "immutable" in local.get(PAGES[-1]).headers["cache-control"]
    assert local.get("/").headers["cache-control"] == "no-store"


def test_an_upload_beyond_the_limit_is_refused_in_words(
    local: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(uploads, "MAX_RECORDING_BYTES", 2048)
    told = local.post("/recordings", content=b"x" * 2049, headers=SAME)
    assert told.status_code == 413 and "up to 2 kB" in told.json()["error"]
    parts = local.post("/recordings", content=iter([b"x" * 1500] * 2), headers=SAME)
    assert parts.status_code == 413
    big = local.post("/drum-file", content=b"#" * (uploads.MAX_DRUM_BYTES + 1), headers=SAME)
    assert big.status_code == 413


@pytest.mark.parametrize(
    ("path", "body", "words"),
    [
        ("/recordings", b"", "cannot be read as a recording"),
        ("/recordings", b"RIFF....WAVEjunk", "cannot be read as a recording"),
        ("/drum-file", b"[drum\n", "not a drum file"),
        ("/drum-file", b"\xff\xfe", "not a drum file"),
        ("/drum-file", b"[drum]\nrods = 9\n", "diameter"),
    ],
)
def test_what_cannot_be_read_is_told(local: Client, path: str, body: bytes, words: str) -> None:
    told = local.post(path, content=body, headers=SAME)
    assert told.status_code == 422
    assert words in told.json()["error"]


def test_a_file_name_is_shown_without_its_path(local: Client) -> None:
    told = local.post("/recordings?name=..%2F..%2Fetc%2Fpasswd%0A", content=b"x", headers=SAME)
    assert told.json()["error"].startswith("passwd:")


def test_a_phone_without_pairing_is_turned_away(phone: Client) -> None:
    assert phone.get("/").status_code == 401
    assert "not paired" in phone.get("/").json()["error"]
    assert phone.socket_is_refused("/live", {"origin": THERE})


def test_a_code_works_once(phone: Client, pairing: Pairing) -> None:
    token, _ = pairing.token()
    assert phone.get("/pair/wrong").status_code == 401
    first = phone.get(f"/pair/{token}")
    assert first.status_code == 303
    cookie = first.headers["set-cookie"].lower()
    assert all(word in cookie for word in ("httponly", "secure", "samesite=strict"))
    assert phone.get("/").status_code == 200
    phone.cookies.clear()
    assert phone.get(f"/pair/{token}").status_code == 401
    assert phone.get("/", headers={"cookie": f"{COOKIE}=guess"}).status_code == 401
    assert phone.get("/", headers={"cookie": "\x00;;="}).status_code == 401


def test_a_code_runs_out(phone: Client, pairing: Pairing, clock: Clock) -> None:
    token, left = pairing.token()
    assert left == PAIRING_S
    clock.now = PAIRING_S + 1
    assert phone.get(f"/pair/{token}").status_code == 401
    fresh, _ = pairing.token()
    assert fresh != token


def test_the_code_is_shown_on_the_computer_only(
    local: Client, phone: Client, pairing: Pairing
) -> None:
    token, _ = pairing.token()
    facts = local.get("/phone.json").json()
    assert facts["address"] == f"{THERE}/pair/{token}"
    assert local.get("/phone.svg").headers["content-type"].startswith("image/svg")
    key = pairing.redeem(token)
    phone.cookies[COOKIE] = str(key)
    assert phone.get("/phone.json").status_code == 404
    assert phone.get("/phone.svg").status_code == 404


def test_tokens_are_compared_in_constant_time(monkeypatch: pytest.MonkeyPatch) -> None:
    import hmac

    calls = []
    real = hmac.compare_digest

    def counted(a: bytes, b: bytes) -> bool:
        calls.append(1)
        return real(a, b)

    monkeypatch.setattr(hmac, "compare_digest", counted)
    pairing = Pairing(Clock())
    key = pairing.redeem(pairing.token()[0])
    assert key is not None and pairing.knows(key) and not pairing.knows("é")
    assert len(calls) == 3
