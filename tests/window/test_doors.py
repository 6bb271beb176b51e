"""What is refused: other hosts, other origins, strangers, names that lead outside, too much."""

from __future__ import annotations

from urllib.parse import quote

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimizer.errors import InputError
from optimizer.window.doors import LARGEST_UPLOAD, SEALED
from optimizer.window.folder import Folder
from tests.window.conftest import HOME, PORT, TOKEN

CHANGES = ["/work", "/work/stop", "/stop"]


def test_the_first_address_is_exchanged_for_a_cookie_and_left_behind(stranger):
    answer = stranger.get("/", params={"token": TOKEN})
    assert (answer.status_code, answer.headers["location"]) == (303, "/")
    said = answer.headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=strict" in said
    assert TOKEN not in said
    assert stranger.get("/").status_code == 200


@pytest.mark.parametrize("token", ["", "wrong", TOKEN + "x", TOKEN[:-1], "é"])
def test_a_wrong_token_opens_nothing(stranger, token):
    answer = stranger.get("/", params={"token": token})
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers
    assert "Heron" not in answer.text


@pytest.mark.parametrize("path", ["/", "/race?race=scenario.toml", "/events", "/style.css",
                                  "/page/report.html", "/nowhere"])
def test_nothing_is_shown_without_the_cookie(stranger, path):
    assert stranger.get(path).status_code == 403


def test_a_cookie_of_an_earlier_start_opens_nothing(client):
    name = f"kitpace-{PORT}"
    client.cookies.set(name, "of-yesterday", domain="127.0.0.1")
    client.cookies.delete(name)
    assert client.get("/", headers={"cookie": f"{name}=of-yesterday"}).status_code == 403


@pytest.mark.parametrize("host", ["example.org", f"example.org:{PORT}", "127.0.0.1",
                                  "127.0.0.1:1", f"127.0.0.1:{PORT}.example.org", ""])
def test_another_host_is_refused(client, host):
    # A foreign name that was made to lead to this machine sends its own name as Host
    # (RFC 9110, 7.2); the status for that is 421 (15.5.20).
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("origin", ["http://example.org", "null", "https://127.0.0.1:8700",
                                    "http://127.0.0.1", "http://127.0.0.1:8701", ""])
@pytest.mark.parametrize("path", CHANGES)
def test_other_origins_change_nothing(client, stopped, path, origin):
    answer = client.post(path, headers={"origin": origin},
                         data={"task": "plan", "race": "scenario.toml"})
    assert answer.status_code == 403
    assert client.site.work.state.kind == "idle"
    assert not stopped


@pytest.mark.parametrize("path", CHANGES)
def test_a_change_that_hides_where_it_comes_from_is_refused(client, path):
    del client.headers["origin"]
    assert client.post(path, data={"task": "plan"}).status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_pages_of_other_sites_load_nothing(client, site):
    # Fetch Metadata Request Headers (W3C working draft), Sec-Fetch-Site.
    assert client.get("/style.css", headers={"sec-fetch-site": site}).status_code == 403
    assert client.get("/style.css", headers={"sec-fetch-site": "same-origin"}).status_code == 200


def test_methods_that_change_are_not_reached_by_reading(client):
    for path in CHANGES:
        assert client.get(path).status_code == 405


def test_every_answer_forbids_what_is_foreign(client):
    for path in ("/", "/nowhere", "/window.js", "/race?race=../x"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"


def test_too_much_is_refused_by_what_it_says_and_by_what_comes(client):
    said = client.post("/work", content=b"x", headers={"content-length": str(10**12)})
    assert said.status_code == 413

    def endless():
        for _ in range(LARGEST_UPLOAD // 2**20 + 2):
            yield bytes(2**20)

    came = client.post("/work", content=endless(), headers={
        "content-type": "application/x-www-form-urlencoded"})
    assert came.status_code in {400, 413}
    assert client.site.work.state.kind == "idle"


OUTSIDE = ["../secret.toml", "..", ".", "", "/etc/passwd", "a/../../secret.toml", "..\\secret.toml",
           "C:\\secret.toml", "C:secret.toml", ".hidden", "a/.git/config", "link.toml",
           "linked/secret.toml", "a\0b", "%2e%2e/secret.toml"]


@pytest.mark.parametrize("name", OUTSIDE)
def test_no_name_leads_outside(client, folder, name):
    (folder.parent / "secret.toml").write_text('name = "secret"', encoding="utf-8")
    (folder / "link.toml").symlink_to(folder.parent / "secret.toml")
    (folder / "linked").symlink_to(folder.parent)
    for path, key in (("/race", "race"),):
        answer = client.get(path, params={key: name})
        assert answer.status_code in {200, 400}
        assert "secret&#34;" not in answer.text
        assert '"secret"' not in answer.text
    assert client.post("/work", data={"task": "plan", "race": name}).status_code == 400
    page = client.get(f"/page/{quote(name, safe='')}")
    assert "secret&#34;" not in page.text


@given(st.lists(st.sampled_from(["..", ".", "a", "", "link", "\\", "C:", "~", "\0", "x.toml"]),
                min_size=1, max_size=6).map("/".join))
def test_whatever_is_named_lies_inside_or_is_refused(name):
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as place:
        root = Path(place, "root")
        root.mkdir()
        (root / "link").symlink_to(place)
        folder = Folder(root)
        try:
            found = folder.path(name)
        except InputError:
            return
        assert found.resolve().is_relative_to(root.resolve())


def test_a_scenario_that_names_files_outside_is_not_planned(client, folder):
    (folder.parent / "other.toml").write_text("mass_kg = 70\n", encoding="utf-8")
    path = folder / "scenario.toml"
    path.write_text(path.read_text(encoding="utf-8").replace("rider.toml", "../other.toml"),
                    encoding="utf-8")
    answer = client.post("/work", data={"task": "plan", "race": "scenario.toml"})
    assert answer.status_code == 400
    assert "&#34;../other.toml&#34;, which lies outside of the opened folder" in answer.text


def test_a_page_that_kitpace_did_not_write_is_not_shown(client, folder):
    (folder / "foreign.html").write_text("<script>alert(1)</script>", encoding="utf-8")
    assert "alert(1)" not in client.get("/page/foreign.html").text
    (folder / "own.html").write_text('<meta name="generator" content="kitpace">ours',
                                     encoding="utf-8")
    answer = client.get("/page/own.html")
    assert answer.text.endswith("ours")
    # HTML standard, 7.1.5: without allow-same-origin a page is of no origin, so that its
    # requests carry no cookie of this site and Origin: null.
    assert answer.headers["content-security-policy"] == SEALED
    assert "allow-same-origin" not in SEALED
    assert "connect-src" not in SEALED


@pytest.mark.parametrize("name", ["<script>alert(1)</script>", '"><img src=x onerror=alert(1)>',
                                  "{{ 7 * 7 }}", "\u202egnp.exe"])
def test_hostile_names_are_shown_as_text(client, folder, name):
    path = folder / "scenario.toml"
    text = path.read_text(encoding="utf-8").replace("Heron Lane 5", name.replace('"', '\\"'))
    path.write_text(text, encoding="utf-8")
    for answer in (client.get("/"), client.get("/race", params={"race": "scenario.toml"})):
        assert answer.status_code == 200
        assert "<script>alert" not in answer.text
        assert "<img" not in answer.text
        assert "49" not in answer.text.partition("<h1>")[2].partition("</h1>")[0]


def test_the_button_stops_the_server(client, stopped):
    assert "has stopped" in client.post("/stop").text
    assert stopped == [True]
    assert HOME.startswith("http://127.0.0.1:")
