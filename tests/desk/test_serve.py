"""The desk as it runs: exists for a start that keeps people waiting, a change that is lost when the process is killed,
a server that one slow or greedy client brings down, and one that grows while it is used."""

from __future__ import annotations

import json
import random
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

from layerpreview.desk import connections, guard
from layerpreview.desk.desk import Desk
from layerpreview.desk.serve import HOST, listen, make_server
from layerpreview.scheme import load_scheme

from .conftest import Running, Start, coats, edit

SAMPLE = Path(__file__).parents[2] / "samples" / "octave_mandolin.toml"


def test_it_starts_serves_and_ends(start: Start, folder: Path) -> None:
    running = start(folder)
    assert running.url.startswith("http://127.0.0.1:")
    assert len(running.token) >= 32
    with running.browser() as client:
        assert "text/html" in client.get("/").headers["content-type"]
        state = client.get("/api/state").json()
        assert (state["name"], state["coats"][0]["coats"]) == ("Test part", 3)
        done = edit(client, state["version"], coats(5), words="honey: 5 coats")
        assert done.status_code == 200
        assert done.json()["undo"] == "honey: 5 coats"
        assert load_scheme(folder / "scheme.toml").coats[0].coats == 5
        with pytest.raises(httpx.HTTPError):
            httpx.get(running.base.replace("127.0.0.1", "127.0.0.2"), timeout=2.0)
    code, said = running.end()
    assert code == 0
    assert said.splitlines() == [
        "The desk is open, for this machine alone. Press Ctrl-C here to close it.",
        "The desk is closed. Every change is kept.",
    ]


def test_closed_while_it_still_begins(start: Start, folder: Path) -> None:
    code, said = start(folder).end()
    assert code == 0
    assert said.splitlines()[-1] == "The desk is closed. Every change is kept."


@pytest.mark.slow
def test_its_address_is_there_at_once(start: Start, folder: Path) -> None:
    """Half a second on a quiet machine; three times that where others work on it."""
    assert min(start(folder).started_s for _ in range(3)) < 1.5


def test_two_runs_share_nothing(start: Start, folder: Path) -> None:
    one, other = start(folder), start(folder)
    assert one.token != other.token
    with one.browser() as client:
        cookies = dict(client.cookies)
    assert httpx.get(f"{other.base}/api/state", cookies=cookies).status_code == 403
    assert httpx.get(f"{other.base}/", params={"token": one.token}).status_code == 403
    taken = start(folder, "--port", one.port)
    assert taken.url == ""
    assert taken.process.wait(30) == 2
    assert taken.process.stderr is not None
    assert "--port" in taken.process.stderr.read()


def test_without_a_job_there_is_one_to_begin(start: Start) -> None:
    running = start()
    with running.browser() as client:
        assert client.get("/api/state").json() == {"begin": True}
        assert client.get("/api/pulse").json()["version"] is None
        assert client.get("/api/history").status_code == 422
        assert client.get("/files/scheme.toml").status_code == 404
    assert running.end()[0] == 0


@pytest.mark.parametrize("job", ["nowhere", "empty", "nothing.toml"])
def test_no_such_job_is_one_line(start: Start, tmp_path: Path, job: str) -> None:
    (tmp_path / "empty").mkdir()
    running = start(tmp_path / job)
    assert running.url == ""
    assert running.process.wait(30) == 2
    assert running.process.stderr is not None
    (line,) = running.process.stderr.read().splitlines()
    assert line.startswith("error: ")


def test_two_windows_see_each_other(start: Start, folder: Path) -> None:
    running = start(folder)
    with running.browser() as one, running.browser() as other:
        seen = one.get("/api/state").json()["version"]
        now = edit(one, seen, coats(5, was=3)).json()["version"]
        assert other.get("/api/pulse").json()["version"] == now
        merged = edit(other, seen, coats(4, 1, was=2))
        assert merged.status_code == 200
        assert [coat["coats"] for coat in merged.json()["coats"]] == [5, 4, 2]
        asked = edit(other, seen, coats(7, was=3))
        assert asked.status_code == 409
        assert asked.json()["asked"] == [{"at": ["coat", 0, "coats"], "theirs": 5, "yours": 7}]
        assert asked.json()["state"]["coats"][0]["coats"] == 5
        assert one.post("/api/undo", json={"base": seen}).status_code == 409
        done = one.post("/api/undo", json={"base": merged.json()["version"]})
        assert [coat["coats"] for coat in done.json()["coats"]] == [5, 2, 2]


def test_changes_at_once_wait_for_each_other(start: Start, folder: Path) -> None:
    """Every one is made in full: thirty windows each add a coat of their own."""
    running = start(folder)
    with running.browser() as client:
        version = client.get("/api/state").json()["version"]

        def add(number: int) -> None:
            to = {"mix": "honey", "coats": 1, "film": f"{20 + number} um"}
            edit(client, version, {"do": "add", "at": ["coat"], "to": to}, force=True)

        threads = [threading.Thread(target=add, args=(number,)) for number in range(30)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    found = load_scheme(folder / "scheme.toml").coats
    assert {coat.film_um.likely for coat in found[3:]} == {float(20 + number) for number in range(30)}


@pytest.mark.slow
def test_killed_at_any_moment_the_file_holds_the_last_change(start: Start, folder: Path) -> None:
    rng = random.Random(7)
    path = folder / "scheme.toml"
    told, times = 0, 10  # the campaign of kills has many more
    for n in range(times):
        running = start(folder)
        acknowledged, tried = load_scheme(path).coats[0].coats, 0
        with running.browser() as client:
            version = client.get("/api/state").json()["version"]
            # One moment out of each part of that time.
            after_s = 0.02 + 0.38 * (n + rng.random()) / times
            killer = threading.Timer(after_s, running.process.kill)
            killer.start()
            try:
                while True:
                    tried = acknowledged % 60 + 1
                    done = edit(client, version, coats(tried))
                    version, acknowledged = done.json()["version"], tried
                    told += 1
            except httpx.HTTPError:
                pass
        running.process.wait()
        killer.join()
        assert load_scheme(path).coats[0].coats in (acknowledged, tried)
    assert told > times
    running = start(folder)
    with running.browser() as client:
        assert client.get("/api/state").status_code == 200
    assert not list(folder.glob(".layerpreview-*"))


@pytest.fixture
def patient(folder: Path) -> Iterator[Running]:
    """A desk in this process on a port of its own."""
    taken = listen(None)
    port = taken.getsockname()[1]
    desk = Desk(folder / "scheme.toml")
    desk.prepare()
    server = make_server(desk, token="token", port=port)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [taken]})
    thread.start()
    yield Running(None, f"http://{HOST}:{port}/?token=token", 0.0)  # type: ignore[arg-type]
    server.should_exit = True
    thread.join()
    taken.close()


@pytest.fixture
def here(patient: Running, monkeypatch: pytest.MonkeyPatch) -> Running:
    """The same with little patience."""
    monkeypatch.setattr(connections, "HEAD_S", 0.5)
    monkeypatch.setattr(guard, "BODY_S", 0.5)
    return patient


def _until_closed(connection: socket.socket) -> bytes:
    connection.settimeout(20.0)
    got = b""
    try:
        while piece := connection.recv(65536):
            got += piece
    except ConnectionResetError:
        pass
    return got


def test_a_client_that_sends_nothing_is_given_up_on(here: Running) -> None:
    with socket.create_connection((HOST, here.port)) as connection:
        begun = time.perf_counter()
        assert _until_closed(connection) == b""
        assert 0.3 < time.perf_counter() - begun < 10.0


@pytest.mark.parametrize("before", [b"", b"GET /nothing HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n"])
def test_a_head_that_trickles_is_given_up_on(here: Running, before: bytes) -> None:
    """Also where the connection had a request already."""
    with socket.create_connection((HOST, here.port)) as connection:
        connection.sendall(before)
        begun = time.perf_counter()
        try:
            for sign in b"GET / HTTP/1.1\r\nX-Slow: " + b"a" * 200:
                connection.sendall(bytes([sign]))
                time.sleep(0.05)
        except OSError:
            pass
        assert time.perf_counter() - begun < 8.0
        assert b" 200 " not in _until_closed(connection)


def test_a_body_that_trickles_is_given_up_on(here: Running) -> None:
    with here.browser() as client:
        cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
    head = f"POST /api/edit HTTP/1.1\r\nHost: {HOST}:{here.port}\r\nOrigin: {here.base}\r\nCookie: {cookie}\r\n"
    with socket.create_connection((HOST, here.port)) as connection:
        connection.sendall(f"{head}Content-Length: 5000\r\n\r\n".encode())
        begun = time.perf_counter()
        try:
            for _ in range(200):
                connection.sendall(b" ")
                time.sleep(0.05)
        except OSError:
            pass
        assert time.perf_counter() - begun < 8.0
        got = _until_closed(connection)
        assert not got or b" 408 " in got.splitlines()[0]


def test_a_large_body_is_answered_before_it_is_sent(here: Running) -> None:
    with here.browser() as client:
        cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
    head = f"POST /api/edit HTTP/1.1\r\nHost: {HOST}:{here.port}\r\nOrigin: {here.base}\r\nCookie: {cookie}\r\n"
    with socket.create_connection((HOST, here.port)) as connection:
        connection.sendall(f"{head}Content-Length: 5000000000\r\n\r\n".encode())
        assert b" 413 " in _until_closed(connection).splitlines()[0]


@pytest.mark.parametrize(
    "target",
    [
        "/files/../secret.txt",
        "/files/%2e%2e/secret.txt",
        "/files//etc/passwd",
        "http://evil.example/files/scheme.toml",
        "*",
    ],
)
def test_no_path_leads_out_through_the_server_either(here: Running, folder: Path, target: str) -> None:
    """As it comes over the line, where no client has tidied it."""
    (folder.parent / "secret.txt").write_text("secret")
    with here.browser() as client:
        cookie = "; ".join(f"{name}={value}" for name, value in client.cookies.items())
    head = f"GET {target} HTTP/1.1\r\nHost: {HOST}:{here.port}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n"
    with socket.create_connection((HOST, here.port)) as connection:
        connection.sendall(head.encode())
        got = _until_closed(connection)
    assert b" 404 " in got.splitlines()[0]
    assert b"secret" not in got


def test_what_is_no_http_gets_the_policies_too(here: Running) -> None:
    for data in (b"\x16\x03\x01\x02\x00\x01", b"GET " + b"/" * 100_000, b"A B C D\r\n\r\n"):
        with socket.create_connection((HOST, here.port)) as connection:
            try:
                connection.sendall(data)
            except OSError:
                continue
            got = _until_closed(connection)
            assert not got or (b" 400 " in got and b"content-security-policy" in got)


def test_200_connections_at_once(patient: Running) -> None:
    """Idle ones are given up on; meanwhile a browser is answered."""
    idle = [socket.create_connection((HOST, patient.port)) for _ in range(200)]
    try:
        with patient.browser() as client:
            assert client.get("/api/state").status_code == 200
    finally:
        for connection in idle:
            connection.close()
    codes: list[int] = []
    with patient.browser() as client:
        cookies = dict(client.cookies)

    def ask() -> None:
        with httpx.Client(base_url=patient.base, cookies=cookies, timeout=60.0, verify=False) as one:
            codes.append(one.get("/api/pulse").status_code)

    threads = [threading.Thread(target=ask) for _ in range(200)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert codes == [200] * 200


def test_more_connections_than_that_are_closed(patient: Running, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "MOST_CONNECTIONS", 20)
    many = [socket.create_connection((HOST, patient.port)) for _ in range(60)]
    try:
        time.sleep(0.2)
        for connection in many[40:]:
            assert _until_closed(connection) == b""
    finally:
        for connection in many:
            connection.close()
    with patient.browser() as client:
        assert client.get("/api/pulse").status_code == 200


@pytest.mark.slow
def test_a_desk_with_its_picture_takes_400_mib_at_most(start: Start, tmp_path: Path) -> None:
    (tmp_path / "scheme.toml").write_bytes(SAMPLE.read_bytes())
    running = start(tmp_path)
    with running.browser() as client:
        assert client.get("/api/picture").status_code == 200
        assert client.get("/api/figures").status_code == 200
        assert client.get("/api/spot?face=front&x=60&y=150").status_code == 200
    assert running.memory_kib() < 400 * 1024


@pytest.mark.slow
def test_500_changes_and_what_a_page_asks_meanwhile_do_not_grow(start: Start, tmp_path: Path) -> None:
    (tmp_path / "scheme.toml").write_bytes(SAMPLE.read_bytes())
    running = start(tmp_path)
    with running.browser() as client:
        version = client.get("/api/state").json()["version"]

        def work(times: int) -> None:
            nonlocal version
            for n in range(times):
                version = edit(client, version, coats(n % 5 + 1, n % 3)).json()["version"]
                client.get("/api/pulse")
                if n % 4 == 0:
                    assert client.get(f"/api/spot?face=front&x={60 + n % 200}&y=150").status_code == 200
                if n % 25 == 0:
                    assert client.get("/api/figures").status_code == 200
            assert len(client.get("/api/history").json()["versions"]) < 120

        work(100)
        before = running.memory_kib()
        work(400)
        after = running.memory_kib()
    assert after - before < 30_000
    print(json.dumps({"kib_after_100": before, "kib_after_500": after}))
