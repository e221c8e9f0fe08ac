# SPDX-License-Identifier: ISC
"""Sessions and forms in Chromium, where it is the browser that decides: which cookie goes with which request (RFC 6265,
and SameSite of RFC 6265bis section 5.6.7.1), what the back button shows, and how often a double click sends a form."""
import http.server
import shutil
import socket
import ssl
import subprocess
import threading
from datetime import timedelta

import pytest
from selenium.webdriver.common.action_chains import ActionChains

import network
from browser import Browser as Person
from chromium import DESK, Chromium
from harness import new_service, wait_until
from network import WORKED_DAY, at, business_day, cups, event
from office import SETTLEMENT, form


class Office:
    """The worked example, closed, with an accountant and a counter whose day is today's."""

    def __init__(self, service, chromium):
        self.service, self.admin, self.chromium = service, service.admin, chromium
        today = business_day()
        document = network.worked_reference("on_loan")
        document["schemes"].append(network.scheme("skerry", today - timedelta(days=1), {"cup-300": "2.50"}))
        document["sites"] += network.reference([], {"gull": ("skerry", "hearth")})["sites"]
        self.admin.load(document)
        for e in network.worked_events():
            self.admin.post(e)
        self.admin.post(event("supply", "gull", at(today - timedelta(days=1)), cups=cups(cup_300=50)))
        self.admin.close("tern-bay", WORKED_DAY)
        self.keys = {
            "ann": service.create_key("ann", "accountant"),
            "gull-till": service.create_key("gull-till", "pos", sites=["gull"]),
        }
        self.payments = [p["payment_id"] for p in self.admin.get(SETTLEMENT)["payments"]]

    def sign_in(self, name="ann", target="/"):
        self.chromium.sign_in(self.service, name, self.keys[name], target)

    def open(self, target):
        self.chromium.driver.get(f"http://127.0.0.1:{self.service.port}{target}")

    def changes(self, payment):
        return [c["change"] for c in self.admin.get(f"/v1/payments/{payment}")["changes"]]

    def asked_to_sign_in(self):
        return bool(self.chromium.all('form[action="/sign-in"] [name="key"]'))


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    chromium = Chromium(tmp_path_factory.mktemp("chromium"), "--ignore-certificate-errors")
    chromium.look(DESK)
    yield chromium
    chromium.quit()


@pytest.fixture(scope="module")
def net(shared, browser):
    return Office(shared, browser)


@pytest.fixture
def office(net):
    net.chromium.driver.delete_all_cookies()
    return net


APPROVE = "/forms/approvePayment?target=/v1/payments/{}/approve"
SEND = ".buttons button:not([name])"


@pytest.fixture
def payment(office):
    """A payment that is not approved yet. Each test has its own."""
    return office.payments.pop()


# --- cookies ----------------------------------------------------------------------------------------------------------
def cookie_of(chromium):
    [cookie] = [c for c in chromium.driver.get_cookies() if c["name"] == "depositd"]
    return cookie


def test_the_cookie_is_out_of_reach(office):
    """RFC 6265 section 4.1.2.6: HttpOnly keeps it from scripts, even one that the page would not have let in."""
    office.sign_in()
    cookie = cookie_of(office.chromium)
    assert (cookie["httpOnly"], cookie["sameSite"], cookie["path"]) == (True, "Strict", "/")
    assert cookie["value"].startswith("ds_") and office.chromium.run("return document.cookie") == ""


def put_cookie(chromium, value):
    chromium.driver.delete_all_cookies()
    chromium.driver.add_cookie({"name": "depositd", "value": value, "path": "/", "httpOnly": True})


def test_a_fixed_session_is_not_taken_over(office):
    """Somebody put a cookie into the browser before: an invented session, or a session of the same key that is known
    elsewhere. The person who signs in gets another (RFC 6265 section 8.4)."""
    elsewhere = Person(office.service)
    assert elsewhere.sign_in("ann", office.keys["ann"]).status == 303
    for known in ("ds_" + "A" * 43, elsewhere.cookie.split("=")[1]):
        office.open("/sign-in")
        put_cookie(office.chromium, known)
        office.open("/sign-in")
        office.chromium.fill(name="ann", key=office.keys["ann"])
        office.chromium.follow("Sign in")
        assert cookie_of(office.chromium)["value"] != known and office.chromium.title == "Today"


def test_the_cookie_of_before_sign_out_opens_nothing(office):
    office.sign_in(target=SETTLEMENT)
    chromium, kept = office.chromium, cookie_of(office.chromium)["value"]
    assert chromium.title == "Settlement"
    chromium.sign_out()
    assert chromium.driver.get_cookies() == [] and office.asked_to_sign_in()
    put_cookie(chromium, kept)
    office.open(SETTLEMENT)
    assert office.asked_to_sign_in()


@pytest.mark.parametrize("value", ["ds_" + "B" * 43, "ds_x", "x" * 300])
def test_a_forged_cookie_opens_nothing(office, value):
    office.open("/sign-in")
    put_cookie(office.chromium, value)
    office.open(SETTLEMENT)
    assert office.asked_to_sign_in()


def test_who_comes_back_late_signs_in_and_goes_on(office):
    """The session went idle. The page that was asked for comes after the sign-in."""
    office.sign_in(target=SETTLEMENT)
    older = ", ".join(f"{moment} = {moment} - interval '31 minutes'" for moment in ("begun_at", "seen_at"))
    office.service.database.run(f"UPDATE browser_session SET {older}")
    office.chromium.driver.refresh()
    assert office.asked_to_sign_in()
    office.chromium.fill(name="ann", key=office.keys["ann"])
    office.chromium.follow("Sign in")
    assert office.chromium.path == SETTLEMENT and office.chromium.title == "Settlement"


# --- other sites ------------------------------------------------------------------------------------------------------
class OtherSite(http.server.ThreadingHTTPServer):
    """A page of another site, localhost, whose form is a copy of one of the service's."""

    def __init__(self, page):
        super().__init__(("127.0.0.1", 0), self.Handler)
        self.page = page.encode()
        threading.Thread(target=self.serve_forever, daemon=True).start()

    @property
    def address(self):
        return f"http://localhost:{self.server_port}/"

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(self.server.page)

        def log_message(self, *_):
            pass


def test_another_sites_form_does_nothing(office, payment):
    """The form is exact, with a number that the service made for this very session; the browser says where it comes
    from, and leaves the cookie out. Nor does a link from there open a page of the session."""
    office.sign_in()
    chromium, service = office.chromium, f"http://127.0.0.1:{office.service.port}"
    person = Person(office.service)
    person.cookie = "depositd=" + cookie_of(chromium)["value"]
    copied = form(person, APPROVE.format(payment))
    fields = "".join(f'<input type="hidden" name="{k}" value="{v}">' for k, v in copied.fields.items())
    site = OtherSite(
        f'<!DOCTYPE html><title>Elsewhere</title><form method="post" action="{service}{copied.action}">{fields}'
        f'<button>Win a cup</button></form><a href="{service}{SETTLEMENT}">Look</a>'
    )
    try:
        chromium.driver.get(site.address)
        chromium.follow("Win a cup")
        assert office.asked_to_sign_in() and "Nothing was recorded" in chromium.one("main").text
        chromium.driver.get(site.address)
        chromium.follow("Look")
        assert office.asked_to_sign_in()
    finally:
        site.shutdown()
        site.server_close()
    assert office.changes(payment) == []
    office.open(APPROVE.format(payment))
    chromium.press(chromium.one(SEND))  # the session goes on at its own site
    assert office.changes(payment) == ["approve"]


# --- once -------------------------------------------------------------------------------------------------------------
def double_click(chromium, element):
    with chromium.leaving():
        ActionChains(chromium.driver).double_click(element).perform()


def test_a_form_is_done_once(office, payment):
    """A double click sends it twice. Then the back button leads back to it, where it is sent again; and the page that
    it led to is loaded again."""
    office.sign_in()
    chromium, target = office.chromium, f"/v1/payments/{payment}"
    office.open(APPROVE.format(payment))
    double_click(chromium, chromium.one(SEND))
    wait_until(lambda: chromium.path == target, "the form led to the payment")
    chromium.driver.refresh()
    assert chromium.path == target and office.changes(payment) == ["approve"]
    chromium.driver.back()
    wait_until(lambda: chromium.path.startswith("/forms/"), "the form is shown again")
    chromium.press(chromium.one(SEND))
    assert office.changes(payment) == ["approve"]


def taps(office):
    return [e["kind"] for e in office.admin.feed("skerry") if e["kind"] != "supply"]


def test_a_tap_is_done_once(office):
    """At the counter: a double tap, a reload, and the back button. A page that the browser kept has the same form and
    so the same event; a page that it asked for again has another."""
    office.sign_in("gull-till")
    chromium, out = office.chromium, 'form.tap:has([name="act"][value="out"]) button'
    assert chromium.path == "/counter"

    def form_id():
        return chromium.one(f"{out.removesuffix(' button')} [name=event_id]").get_attribute("value")

    before = form_id()
    double_click(chromium, chromium.one(out))
    wait_until(lambda: "recorded=" in chromium.path, "the tap was recorded")
    assert taps(office) == ["issue"]
    chromium.driver.refresh()
    assert taps(office) == ["issue"]
    chromium.driver.back()
    wait_until(lambda: "recorded=" not in chromium.path, "the counter is as before the tap")
    kept = form_id() == before
    chromium.press(chromium.one(out))
    assert taps(office) == ["issue"] * (1 if kept else 2)
    assert ("Nothing was recorded again" in chromium.one(".told").text) == kept


# --- behind TLS -------------------------------------------------------------------------------------------------------
class Tls(threading.Thread):
    """Ends TLS in front of a service, as a proxy does."""

    def __init__(self, service, folder):
        super().__init__(daemon=True)
        self.service, self.listening = service, socket.create_server(("127.0.0.1", 0))
        self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        files = [str(folder / name) for name in ("key.pem", "certificate.pem")]
        subject = ["-subj", "/CN=office.example", "-days", "2"]
        made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", files[0], "-out", files[1]]
        subprocess.run([*made, *subject], check=True, capture_output=True)
        self.context.load_cert_chain(files[1], files[0])
        self.origin = f"https://office.example:{self.listening.getsockname()[1]}"
        self.start()

    def run(self):
        while True:
            try:
                threading.Thread(target=self.serve, args=(self.listening.accept()[0],), daemon=True).start()
            except OSError:  # the end of the test
                return

    def serve(self, plain):
        try:
            client = self.context.wrap_socket(plain, server_side=True)
            inner = socket.create_connection(("127.0.0.1", self.service.port))
        except OSError:
            return
        threading.Thread(target=self.pump, args=(inner, client), daemon=True).start()
        self.pump(client, inner)

    @staticmethod
    def pump(source, sink):
        try:
            while data := source.recv(65536):
                sink.sendall(data)
            sink.shutdown(socket.SHUT_WR)
        except OSError:  # one of the two is gone
            pass

    def end(self):
        self.listening.close()


@pytest.mark.skipif(not shutil.which("openssl"), reason="openssl, which makes the certificate, is not there")
def test_behind_tls_the_cookie_stays_with_tls(database, browser, tmp_path):
    """RFC 6265bis section 4.1.3.2: its name holds the cookie to TLS and one host. It does not come to the same host
    without TLS."""
    service = new_service(database, behind_tls="yes")
    tls = Tls(service, tmp_path)
    try:
        browser.sign_in(service, "first-admin", service.admin_key, "/v1/keys", tls.origin)
        [cookie] = browser.driver.get_cookies()
        assert (cookie["name"], cookie["secure"], browser.title) == ("__Host-depositd", True, "Keys")
        browser.driver.get(f"http://office.example:{service.port}/v1/keys")
        assert browser.title == "Sign in"
        browser.driver.get(f"{tls.origin}/v1/keys")
        assert browser.title == "Keys"
        browser.sign_out()
        assert browser.driver.get_cookies() == []
    finally:
        tls.end()
        service.stop()
