"""The live page's server: who is let in, what it answers, and that its answers are those of the command line."""

import json
import re
import socket
import threading
import time

import numpy as np
import pytest
from conftest import ROOT
from starlette.testclient import TestClient

import cavity
from cavity.errors import InputError, Stopped
from cavity.live import desk, server, studies
from cavity.risk import judge
from cavity.study.engine import Engine
from cavity.wallfile import parse_wall, starter

PORT, TOKEN, SECRET = 8123, "a-token-of-the-test", "the-secret-of-the-cookie"
HOST = f"127.0.0.1:{PORT}"
TEXT = starter().replace("max_years = 5", "max_years = 1")


@pytest.fixture(scope="module")
def work():
    with Engine() as engine:
        made = desk.Desk(engine, {})
        # ten days: what is tested here is the way of an answer, not the physics
        weather = cavity.read_weather(ROOT / "climates" / "temperate_inland.epw")
        made.add("inland", weather)
        yield made


@pytest.fixture
def app(work):
    return server.application(
        work, studies.Studies(), token=TOKEN, secret=SECRET, port=PORT, first={"text": "", "climate": ""}
    )


@pytest.fixture
def client(app):
    with TestClient(app, base_url=f"http://{HOST}", headers={"origin": f"http://{HOST}"}) as made:
        made.cookies.set(server.cookie_name(PORT), SECRET)
        yield made


@pytest.fixture
def stranger(app):
    with TestClient(app, base_url=f"http://{HOST}", follow_redirects=False) as made:
        yield made


# ---- who is let in -----------------------------------------------------------------------------------------------
def test_the_first_address_sets_the_cookie_and_leaves_the_token_out_of_the_next(stranger):
    first = stranger.get("/", params={"token": TOKEN})
    assert first.status_code == 303 and first.headers["location"] == "/"
    cookie = first.headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=strict" in cookie.replace("Strict", "strict")
    assert stranger.get("/").status_code == 200


@pytest.mark.parametrize("path", ["/", "/begin", "/page/live.js", "/page/plotly.js", "/here", "/study/x"])
def test_nothing_is_answered_without_the_cookie(stranger, path):
    assert stranger.get(path).status_code == 403
    assert stranger.get(path, params={"token": "wrong"}).status_code == 403


@pytest.mark.parametrize("host", ["evil.example", f"evil.example:{PORT}", "127.0.0.1", f"127.0.0.1:{PORT + 1}", ""])
def test_a_name_that_is_made_to_point_here_is_refused(client, host):
    assert client.get("/begin", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("origin", ["http://evil.example", "null", f"https://{HOST}", None])
def test_posts_of_other_pages_are_refused(client, origin):
    headers = {"origin": origin} if origin else {}
    if origin is None:
        del client.headers["origin"]
    assert client.post("/wall", json={"text": TEXT}, headers=headers).status_code == 403


def test_requests_that_a_browser_marks_as_foreign_are_refused(client):
    assert client.get("/begin", headers={"sec-fetch-site": "cross-site"}).status_code == 403


def test_every_answer_carries_the_headers_that_keep_the_page_to_itself(client):
    for path in ("/", "/begin", "/page/live.js"):
        headers = client.get(path).headers
        assert "default-src 'none'" in headers["content-security-policy"]
        assert "http" not in headers["content-security-policy"]
        assert headers["x-content-type-options"] == "nosniff"


def test_the_socket_is_on_the_loopback_address_alone():
    bound = server.free_socket()
    address, port = bound.getsockname()
    assert address == "127.0.0.1"
    with pytest.raises(InputError, match="--port"):
        server.free_socket(port)
    bound.close()


@pytest.mark.parametrize("name", ["../../etc/passwd", "..%2f..%2fetc%2fpasswd", "live.py", "live.html/../server.py"])
def test_no_file_but_the_pages_own_is_served(client, name):
    assert client.get(f"/page/{name}").status_code in (404, 405)


# ---- what it answers -----------------------------------------------------------------------------------------------
def ask(client, path, **body):
    return client.post(path, content=json.dumps(body))


def test_a_wall_is_answered_at_once_with_drawings_and_numbers(client):
    found = ask(client, "/wall", text=TEXT, opening_set="10 mm slots").json()
    assert found["faults"] == [] and found["contents"]["cavity"]["depth"] == "30 mm"
    quick = found["quick"]
    assert quick["opening_set"] == "10 mm slots" and quick["depth"] == 0.03
    wall = parse_wall(TEXT)
    from cavity.wall.uvalue import u_value

    assert quick["u_value"] == pytest.approx(u_value(wall.case(opening_set="10 mm slots")).u_value, rel=1e-5)
    assert quick["section"].startswith("<svg") and quick["elevation"].startswith("<svg")
    assert quick["strips"][0]["rate"] > 1.0 and sum(part for _, part in quick["strips"][0]["losses"]) == pytest.approx(
        1.0
    )


def test_a_change_comes_back_as_text_with_its_comments(client):
    change = {"do": "set", "place": ["cavity", "depth"], "typed": "42 mm"}
    found = ask(client, "/wall", text=TEXT, change=change).json()
    assert found["text"] == TEXT.replace('depth = "30 mm"', 'depth = "42 mm"')
    assert found["quick"]["depth"] == pytest.approx(0.042)


def test_faults_name_the_key_and_the_fix_in_the_words_of_the_reader(client):
    change = {"do": "set", "place": ["backup", 1, "thickness"], "typed": "12"}
    found = ask(client, "/wall", text=TEXT, change=change).json()
    assert found["quick"] is None
    (fault,) = found["faults"]
    with pytest.raises(InputError) as caught:
        parse_wall(found["text"], desk.NAME)
    assert fault["key"] == "backup[2].thickness" and fault["fix"] == caught.value.faults[0].fix == 'write "12 mm"'


def test_the_year_is_the_one_of_simulate_bit_for_bit(client, work):
    found = ask(client, "/year", tab="t", number=1, text=TEXT, climate="inland", opening_set="10 mm slots").json()
    wall = parse_wall(TEXT)
    ds = cavity.simulate(wall, work.weather("inland"), opening_set="10 mm slots")
    findings = judge(ds, dict(wall.limits))
    assert [row["sentence"] for row in found["findings"]] == [one.sentence for one in findings]
    rate = next(row for row in found["numbers"] if row["key"] == "rate")
    assert rate["value"] == pytest.approx(float(ds["air_change_rate"].median()), rel=1e-5)
    assert set(found["figures"]) == set(desk.SHOWN) and found["superseded"] is False


def test_an_older_request_of_a_tab_is_dropped():
    latest = server.Latest()
    first = latest.arrived("a", 1)
    assert not first[0]
    second = latest.arrived("a", 2)
    assert first[0] and not second[0] and not latest.arrived("b", 1)[0]
    assert latest.arrived("a", 1)[0]  # came late


def test_a_year_that_is_not_wanted_any_more_ends_at_once_and_is_not_kept(work):
    flag = np.zeros(1, dtype=np.int64)
    text = TEXT.replace('depth = "30 mm"', 'depth = "33 mm"').replace("max_years = 1", "max_years = 9")
    work.year(TEXT, "inland")  # compiled
    threading.Timer(0.15, flag.__setitem__, (0, 1)).start()
    begun = time.monotonic()
    with pytest.raises(Stopped):
        work.year(text, "inland", stop=flag)
    ended = time.monotonic() - begun
    flag[0] = 0
    begun = time.monotonic()
    found = work.year(text, "inland", stop=flag)  # computed, not found among the kept
    assert found["status"] and time.monotonic() - begun > 2.0 * (ended - 0.15) > 0.0


def test_an_uploaded_climate_is_read_with_all_checks_and_named_as_the_user_does(client):
    data = (ROOT / "climates" / "cool_marine.epw").read_bytes()
    found = client.post("/climate", params={"name": "../../my place.epw"}, content=data).json()
    assert found["name"] in found["names"]
    broken = client.post("/climate", params={"name": "broken.epw"}, content=data[:5000])
    assert broken.status_code == 422
    assert all(fault["where"].startswith("broken.epw") for fault in broken.json()["faults"])
    odd = client.post("/climate", params={"name": "x.exe"}, content=b"MZ")
    assert odd.status_code == 422 and "another kind" in odd.json()["faults"][0]["problem"]


def test_an_uploaded_indoor_climate_is_the_only_file_that_a_text_can_name(client, work):
    hours = work.weather("inland").sizes["time"]
    rows = ["temperature [degC],relative humidity [%]"] + ["21,50"] * hours
    from cavity.wall.indoor import FILE_COLUMNS

    rows[0] = ",".join(FILE_COLUMNS)
    data = "\n".join(rows).encode()
    name = client.post("/indoor", params={"name": "../../our room.csv"}, content=data).json()["name"]
    assert "/" not in name and (work.folder / name).read_bytes() == data
    again = client.post("/indoor", params={"name": "../../our room.csv"}, content=data).json()["name"]
    other = client.post("/indoor", params={"name": "../../our room.csv"}, content=data + b"\n").json()["name"]
    assert again == name and other != name
    section = '\n[indoor]\nmodel = "file"\nfile = "{}"\n'
    plain = re.sub(r"(?m)^\[indoor\][^\[]*", "", TEXT)
    assert ask(client, "/wall", text=plain + section.format(name)).json()["faults"] == []
    for way in ("/etc/passwd", "../" + name, "nothing.csv", "..\\\\x"):
        (fault,) = ask(client, "/wall", text=plain + section.format(way)).json()["faults"]
        assert fault["key"] == "indoor.file", way


def test_a_curve_that_is_thinned_keeps_its_ends_peaks_and_gaps():
    rng = np.random.default_rng(1)
    y = rng.normal(size=8760)
    y[4000], y[5000] = 9.0, -9.0
    y[6000:6003] = np.nan
    x = np.arange(y.size)
    (trace,) = desk.thinned({"data": [{"type": "scatter", "x": x, "y": y}], "layout": {}}, most=500)["data"]
    assert {0, 4000, 5000, 6000, 8759} <= set(trace["x"]) and len(trace["x"]) < 700
    np.testing.assert_array_equal(trace["y"], y[trace["x"]])
    stretch = -(-2 * y.size // 500)
    for start in range(0, y.size, stretch):
        part = y[start : start + stretch]
        shown = trace["y"][(trace["x"] >= start) & (trace["x"] < start + stretch)]
        assert np.nanmin(shown) == np.nanmin(part) and np.nanmax(shown) == np.nanmax(part)


def test_uploads_have_a_limit(client, monkeypatch):
    monkeypatch.setattr(server, "LARGEST_FILE", 1000)
    answered = client.post("/climate", params={"name": "a.epw"}, content=b"x" * 2000)
    assert answered.status_code == 422 and "too large" in answered.json()["faults"][0]["problem"]
    monkeypatch.setattr(server, "LARGEST_INDOOR", 1000)
    assert client.post("/indoor", params={"name": "a.csv"}, content=b"x" * 2000).status_code == 422
    monkeypatch.setattr(server, "LARGEST_TEXT", 1000)
    assert ask(client, "/wall", text="x" * 2000).status_code == 422


@pytest.mark.parametrize(
    "body", [b"", b"[]", b"{}", b"\xff", b'{"text": 1, "change": 5}', b'{"tab": {}, "number": []}']
)
def test_odd_bodies_get_an_answer_not_a_traceback(client, body):
    for path in ("/wall", "/year", "/study", "/hours"):
        assert client.post(path, content=body).status_code in (200, 400, 422)


def test_names_of_the_wall_file_are_text_in_the_drawings(client):
    nasty = TEXT.replace('name = "panel"', 'name = "<img src=x onerror=alert(1)>"')
    quick = ask(client, "/wall", text=nasty).json()["quick"]
    assert "<img" not in quick["section"] + quick["elevation"]


def test_a_matrix_fills_as_it_goes_and_can_be_stopped(client):
    text = TEXT.replace('depths = ["15 mm", "20 mm", "30 mm", "40 mm", "60 mm"]', 'depths = ["20 mm", "30 mm"]')
    name = ask(client, "/study", kind="matrix", text=text, climate="inland").json()["id"]
    seen = 0
    for _ in range(600):
        state = client.get(f"/study/{name}").json()
        seen = max(seen, len(state["rows"]))
        if state["ended"] or seen == 2:
            break
        time.sleep(0.05)
    assert seen >= 1 and all(row["status"] in ("pass", "review", "fail") for row in state["rows"])
    assert client.delete(f"/study/{name}").status_code == 200
    for _ in range(600):
        if (state := client.get(f"/study/{name}").json())["ended"]:
            break
        time.sleep(0.05)
    assert state["ended"] and (state["stopped"] or len(state["rows"]) == state["total"])


def test_the_server_answers_on_its_address_and_ends(work):
    """The real server on a real port, asked by a plain socket."""
    addresses = []
    bound = server.free_socket()
    port = bound.getsockname()[1]
    bound.close()
    done = threading.Event()

    def run():
        server.serve(work, studies.Studies(), first={"text": "", "climate": ""}, port=port, opened=addresses.append)
        done.set()

    import uvicorn

    made = []
    original = uvicorn.Server.__init__

    def remember(self, *args, **keywords):
        original(self, *args, **keywords)
        made.append(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(uvicorn.Server, "__init__", remember)
        patch.setattr(uvicorn.Server, "install_signal_handlers", lambda *_: None, raising=False)
        thread = threading.Thread(target=run, daemon=True)
        thread.start()
        for _ in range(100):
            if addresses and made and made[0].started:
                break
            time.sleep(0.05)
        with socket.create_connection(("127.0.0.1", port), timeout=5) as asked:
            asked.sendall(f"GET /here HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n".encode())
            head = asked.recv(100)
        assert b"403" in head.split(b"\r\n")[0] and addresses[0].startswith(f"http://127.0.0.1:{port}/?token=")
        made[0].should_exit = True
        assert done.wait(10)
