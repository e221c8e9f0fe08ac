# SPDX-License-Identifier: ISC
"""Browsers sign in with a key's name and secret, and then show a cookie (RFC 6265, RFC 6265bis). A session is its key's
and no more: it ends with the key, by sign-out, idle or old; no other site can use it, and nobody can guess it."""
import json
import re
import subprocess
from datetime import date, timedelta
from urllib.parse import urlencode

import pytest

import network
from browser import FORM, HTML, Browser
from harness import at_once, new_service
from network import at, cups, event
from pages import Page, tidy

DAY = date.today() - timedelta(days=2)


@pytest.fixture
def net(service):
    service.admin.load(
        network.reference(
            [network.scheme("tern-bay", DAY, {"cup-300": "2.50"})],
            {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller")},
        )
    )
    service.till_key = service.create_key("anchor-till", "pos", sites=["anchor"])
    return service


def signed_in(service, name="first-admin", secret=None):
    browser = Browser(service)
    assert browser.sign_in(name, secret or service.admin_key).status == 303
    return browser


def sessions(service, key):
    return [(s["session"], s["state"]) for s in service.client(key).items("/v1/me/sessions")]


def test_a_person_signs_in_reads_and_signs_out(net):
    browser = Browser(net)
    asked = browser.send("GET", "/v1/settlements?scheme=tern-bay")
    assert asked.status == 401
    # RFC 9110 section 11.6.1 wants a challenge. Basic would make the browser ask in a window of its own.
    assert asked.headers.get_all("WWW-Authenticate") == ['Bearer realm="depositd"']
    (form,) = re.findall(r"<form.*?</form>", asked.text, re.S)
    assert 'method="post" action="/sign-in"' in form and 'type="password"' in form
    assert 'name="next" value="/v1/settlements?scheme=tern-bay"' in form
    answer = browser.sign_in("first-admin", net.admin_key, next="/v1/settlements?scheme=tern-bay")
    assert (answer.status, answer.headers["Location"]) == (303, "/v1/settlements?scheme=tern-bay")
    assert answer.headers["Cache-Control"] == "no-store" and answer.text == ""
    cookie = answer.headers["Set-Cookie"]
    assert re.fullmatch(r"depositd=ds_[\w-]{43}; Path=/; Max-Age=43200; HttpOnly; SameSite=Strict", cookie)
    page = browser.send("GET", "/v1/settlements?scheme=tern-bay")
    assert page.status == 200 and "first-admin" in page.text and 'action="/sign-out"' in page.text
    assert browser.send("GET", "/v1/reports/trial-balance?scheme=tern-bay").text.count('action="/sign-out"') == 1
    kept = browser.cookie
    out = browser.submit("/sign-out")
    assert (out.status, out.headers["Location"], browser.cookie) == (303, "/sign-in", None)
    assert browser.send("GET", out.headers["Location"]).status == 200
    browser.cookie = kept
    assert browser.send("GET", "/").status == 401, "the cookie opens nothing any more"
    assert browser.submit("/sign-out").status == 303, "to sign out twice does no harm"


def test_pages_for_curl_are_as_before(net):
    """A client that asks for no page gets a problem and both challenges; a page by Basic or Bearer has no way to sign
    out, because there is no session to end."""
    answer = net.client().send("GET", "/")
    assert (answer.status, answer.json["reason"]) == (401, "unauthenticated")
    assert len(answer.headers.get_all("WWW-Authenticate")) == 2
    assert b"/sign-out" not in net.admin.send("GET", "/", headers=HTML).body


def test_a_session_is_its_key_and_no_more(net):
    browser = signed_in(net, "anchor-till", net.till_key)
    assert browser.send("GET", "/v1/sites/anchor").status == 200
    assert browser.send("GET", "/v1/sites/brick").status == 404
    assert browser.send("GET", "/v1/checks").status == 403
    own, other = (
        browser.send(
            "POST",
            "/v1/events",
            json.dumps(event("issue", site, at(DAY), issued=cups(cup_300=1))),
            Content_Type="application/json",
            Accept="application/json",
            Origin=f"http://{browser.host}",
        )
        for site in ("anchor", "brick")
    )
    assert (own.status, other.status) == (201, 403), (own.text, other.text)


@pytest.mark.parametrize(
    "name, secret", [("first-admin", "dk_wrong"), ("anchor-till", "admin's"), ("nobody", "dk_no_such_key"), ("", "")]
)
def test_a_wrong_name_or_key(net, name, secret):
    secret = net.admin_key if secret == "admin's" else secret
    browser = Browser(net)
    answer = browser.sign_in(name, secret, next="/v1/me")
    assert (answer.status, browser.cookie) == (401, None)
    assert 'role="alert"' in answer.text and f'value="{name}"' in answer.text and 'value="/v1/me"' in answer.text
    assert not secret or secret not in answer.text, "the key is not shown again"


def test_spaces_that_were_copied_with_the_key(net):
    assert Browser(net).sign_in(" first-admin", f"  {net.admin_key}\r\n").status == 303


def test_what_was_typed_is_shown_as_text(net):
    hostile = '"><script>alert(1)</script>'
    answer = Browser(net).sign_in(hostile, "x")
    assert answer.status == 401 and "<script>" not in answer.text
    page = Page(answer.text.encode())
    assert [i.get("value") for i in page.all("input") if i.get("name") == "name"] == [hostile]
    assert tidy(answer.text.encode()) == ""


@pytest.mark.parametrize(
    "target",
    [
        "//elsewhere.example/",
        "/\\elsewhere.example",
        "https://elsewhere.example/",
        "elsewhere",
        "/a\r\nSet-Cookie: x=y",
    ],
)
def test_nobody_is_led_elsewhere(net, target):
    answer = Browser(net).sign_in("first-admin", net.admin_key, next=target)
    assert (answer.status, answer.headers["Location"]) == (303, "/")
    page = Browser(net).send("GET", "/sign-in?" + urlencode({"next": target}))
    assert page.status in (200, 422) and 'name="next"' not in page.text


ELSEWHERE = {
    "another site's page": {"Origin": "https://elsewhere.example", "Sec_Fetch_Site": "cross-site"},
    "another site's page, in an old browser": {"Origin": "https://elsewhere.example", "Sec_Fetch_Site": None},
    "another host of the same site": {"Sec_Fetch_Site": "same-site"},
    "a page without an origin": {"Origin": "null", "Sec_Fetch_Site": None},
    "no browser": {"Origin": None, "Sec_Fetch_Site": None},
}


@pytest.mark.parametrize("what", ELSEWHERE)
def test_no_other_site_can_use_a_session(net, what):
    """Neither post in it, nor sign somebody in or out."""
    browser = signed_in(net)
    cookie = browser.cookie
    assert browser.submit("/sign-out", **ELSEWHERE[what]).status == 403
    assert browser.submit("/v1/me/renew?dry_run=true", **ELSEWHERE[what]).status == 403
    assert (
        Browser(net).submit("/sign-in", {"name": "first-admin", "key": net.admin_key}, **ELSEWHERE[what]).status == 403
    )
    assert browser.cookie == cookie and browser.send("GET", "/").status == 200


def test_a_key_by_header_wins_over_the_cookie(net):
    browser = signed_in(net)
    said = browser.send("GET", "/v1/me", Authorization=f"Bearer {net.till_key}", Accept="application/json")
    assert '"anchor-till"' in said.text
    assert browser.send("GET", "/v1/me", Authorization="Bearer dk_wrong", Accept="application/json").status == 401


@pytest.mark.parametrize(
    "cookie", ["depositd=", "depositd=ds_x", "depositd=" + "x" * 300, "__Host-depositd=ds_x", "other=1"]
)
def test_a_forged_cookie_opens_nothing(net, cookie):
    browser = Browser(net)
    browser.cookie = cookie
    assert browser.send("GET", "/").status == 401


def test_a_session_ends_with_its_key(net):
    second = net.create_key("second", "admin")
    for end in ("renew", "revoke"):
        key = net.create_key(f"{end}-me", "auditor")
        client, browser = net.client(key), signed_in(net, f"{end}-me", key)
        assert browser.send("GET", "/").status == 200
        if end == "renew":
            key = client.send("POST", "/v1/me/renew").json["key"]
            assert [state for _, state in sessions(net, key)] == ["ended"]
        else:
            assert net.client(second).send("DELETE", f"/v1/keys/{end}-me").status == 204
        assert browser.send("GET", "/").status == 401, end


def test_sessions_of_a_key_are_listed_and_ended(net):
    first, second = signed_in(net), signed_in(net)
    till = signed_in(net, "anchor-till", net.till_key)
    (one, _), (two, _) = sessions(net, net.admin_key)
    shown = first.send("GET", "/v1/me/sessions", Accept="application/json").text
    assert re.findall(r'"state" ?: ?"(\w+)"', shown) == ["this", "open"]
    ((other, _),) = sessions(net, net.till_key)
    assert net.admin.send("DELETE", f"/v1/me/sessions/{other}").status == 404, "another key's"
    assert net.admin.send("DELETE", f"/v1/me/sessions/{two}?dry_run=true").status == 204
    assert second.send("GET", "/").status == 200
    assert net.admin.send("DELETE", f"/v1/me/sessions/{two}").status == 204
    assert net.admin.send("DELETE", f"/v1/me/sessions/{two}").status == 404
    assert net.admin.send("DELETE", "/v1/me/sessions/x").status == 404
    assert (first.send("GET", "/").status, second.send("GET", "/").status, till.send("GET", "/").status) == (
        200,
        401,
        200,
    )
    assert sessions(net, net.admin_key) == [(one, "open"), (two, "ended")]


@pytest.mark.parametrize("age", ["seen_at", "begun_at"])
def test_a_session_ends_when_idle_and_when_old(net, age):
    """Rows are made older, so that the test does not have to wait."""
    browser = signed_in(net)
    minutes = {"seen_at": 31, "begun_at": 12 * 60 + 1}[age]
    moments = ("begun_at", "seen_at") if age == "seen_at" else ("begun_at",)
    older = ", ".join(f"{moment} = {moment} - interval '{minutes} minutes'" for moment in moments)
    net.database.rows(f"UPDATE browser_session SET {older} RETURNING 1")
    assert browser.send("GET", "/").status == 401
    assert [state for _, state in sessions(net, net.admin_key)] == ["expired"]


def test_a_counter_may_be_idle_for_longer(net):
    """Nobody at a counter signs in anew after each quiet half hour; four hours are the default."""
    browser = signed_in(net, "anchor-till", net.till_key)
    for minutes, status, state in ((31, 200, "open"), (4 * 60 + 1, 401, "expired")):
        older = ", ".join(f"{moment} = {moment} - interval '{minutes} minutes'" for moment in ("begun_at", "seen_at"))
        net.database.rows(f"UPDATE browser_session SET {older} RETURNING 1")
        assert browser.send("GET", "/counter").status == status
        assert [seen for _, seen in sessions(net, net.till_key)] == [state]


def test_a_session_in_use_does_not_go_idle(net):
    browser = signed_in(net)
    older = ", ".join(f"{moment} = {moment} - interval '29 minutes'" for moment in ("begun_at", "seen_at"))
    net.database.rows(f"UPDATE browser_session SET {older} RETURNING 1")
    assert browser.send("GET", "/").status == 200
    assert net.database.rows("SELECT now() - seen_at < interval '5 minutes' FROM browser_session") == [(True,)]


def test_reading_does_not_write_each_time(net):
    browser = signed_in(net)
    (before,) = net.database.rows("SELECT xmin::text, seen_at FROM browser_session")
    for _ in range(5):
        assert browser.send("GET", "/").status == 200
    assert net.database.rows("SELECT xmin::text, seen_at FROM browser_session") == [before]


def test_guessing_is_slow(net):
    """A name can be tried from one address ten times, and then once a second. Others are not kept out."""
    browser, outcomes = Browser(net), []
    while 429 not in outcomes:
        outcomes.append(browser.sign_in("first-admin", f"dk_{len(outcomes)}").status)
        assert len(outcomes) < 200 and outcomes[-1] in (401, 429)
    assert len(outcomes) > 10
    assert Browser(net, "127.0.0.2").sign_in("first-admin", net.admin_key).status == 303
    assert browser.sign_in("anchor-till", net.till_key).status == 303


def test_only_hashes_are_kept(net):
    browser = signed_in(net)
    value = browser.cookie.split("=")[1]
    dump = subprocess.run(
        ["pg_dump", "--data-only", net.database.owner_dsn], capture_output=True, text=True, check=True
    ).stdout
    assert value not in dump and value.encode().hex() not in dump and "browser_session" in dump


def test_a_malformed_form(net):
    browser = Browser(net)
    assert browser.submit("/sign-in", {}).status == 401
    for body in ("name=%zz", "name=%00", "name=%ff", "&".join(["a=b"] * 5000)):
        answer = browser.send(
            "POST", "/sign-in", body, Content_Type=FORM, Origin=f"http://{browser.host}", Sec_Fetch_Site="same-origin"
        )
        assert answer.status in (400, 422), body[:20]
    assert browser.submit("/sign-in", {"name": "a"}, Content_Type="application/json").status == 415
    assert browser.submit("/sign-in", {"name": "a"}, Content_Type="multipart/form-data").status == 415


def test_many_sign_in_at_once(net):
    browsers = [Browser(net, f"127.0.0.{n}") for n in range(2, 10)]
    answers = at_once(*(lambda b=b: b.sign_in("first-admin", net.admin_key) for b in browsers))
    assert {a.status for a in answers} == {303} and len({b.cookie for b in browsers}) == len(browsers)
    assert at_once(*(lambda b=b: b.send("GET", "/").status for b in browsers)) == [200] * len(browsers)


def test_behind_tls_the_cookie_stays_with_tls(database):
    """RFC 6265bis section 4.1.3.2: a name that begins with __Host- holds a browser to Secure, Path=/ and one host."""
    service = new_service(database, behind_tls="yes", session_hours=1)
    try:
        browser = Browser(service)
        answer = browser.sign_in("first-admin", service.admin_key)
        assert re.fullmatch(
            r"__Host-depositd=ds_[\w-]{43}; Path=/; Max-Age=3600; HttpOnly; SameSite=Strict; Secure",
            answer.headers["Set-Cookie"],
        )
        assert browser.send("GET", "/").status == 200
        browser.cookie = browser.cookie.replace("__Host-", "")
        assert browser.send("GET", "/").status == 401
    finally:
        service.stop()
