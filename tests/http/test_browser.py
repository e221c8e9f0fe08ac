# SPDX-License-Identifier: ISC
"""Pages in headless Chromium: on a phone, on a desktop, in the dark and on paper. A proxy on loopback has signed in and
adds the cookie. To measure pages, it shows them in frames as wide as a phone and a desktop, without the policy that
forbids the frames and the script in them."""
import html
import http.client
import json
import re
import subprocess
import threading
import zlib
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from browser import Browser as Person
from harness import PATIENCE_SECONDS
from test_html import ACCOUNTANTS_WALK, NEXT_DAY, WORKED_DAY, net, palettes, walk  # noqa: F401  (net is a fixture)

PHONE, DESK = (390, 844), (1280, 720)
SCRIPT = b"<script>document.documentElement.dataset.ran = 1</script>"
MEASURE = """<script>addEventListener("load", () => {
  document.body.dataset.measured = JSON.stringify([...document.querySelectorAll("iframe")].map(frame => {
    const page = frame.contentDocument, box = page.documentElement, regions = [...page.querySelectorAll(".region")];
    page.querySelectorAll("details").forEach(part => part.open = true);
    const sides = (what, side) =>
      Math.min(...[...page.querySelectorAll(what)].map(found => side(found.getBoundingClientRect())));
    return {target: frame.dataset.target, inner: frame.contentWindow.innerWidth, scroll: box.scrollWidth,
            scrolling: regions.filter(region => region.scrollWidth > region.clientWidth).length,
            smallest: sides("button, summary, select, input:not([type=hidden])", r => Math.min(r.width, r.height)),
            taps: sides(".taps button", r => r.height),
            styled: frame.contentWindow.getComputedStyle(page.body).fontVariantNumeric};
  }));
});</script>"""
TARGETS = [
    "/",
    f"/v1/settlements/tern-bay/{WORKED_DAY}",
    "/v1/events?scheme=tern-bay",
    "/v1/reports",
    "/v1/reports/deposit-cover?scheme=tern-bay",
    "/v1/reports/trial-balance?scheme=tern-bay",
    "/v1/participants",
    "/v1/reference",
    f"/v1/events?scheme=tern-bay&business_date={NEXT_DAY}",
    "/v1/posting-rules",
    "/v1/no/such/page",
    "/sign-in",
    "/forms/putScheme?target=/v1/schemes/tern-bay",
    "/forms/createKey",
    f"/forms/approveSettlement?target=/v1/settlements/tern-bay/{WORKED_DAY}/approve",
]


class Proxy(ThreadingHTTPServer):
    """`policy`: passes the policy on. `inject`: text to add to the end of pages. /frames is a page of the proxy's
    own."""

    def __init__(self, service, name="first-admin", secret=None, targets=TARGETS):
        super().__init__(("127.0.0.1", 0), Forward)
        self.service, self.policy, self.inject, self.targets = service, True, b"", targets
        person = Person(service)
        assert person.sign_in(name, secret or service.admin_key).status == 303
        self.cookie = person.cookie
        threading.Thread(target=self.serve_forever, daemon=True).start()

    def url(self, target):
        return f"http://127.0.0.1:{self.server_port}{target}"


class Forward(BaseHTTPRequestHandler):
    def do_GET(self):
        if self.path == "/frames":
            frames = "".join(
                f'<iframe width="{width}" height="800" data-target="{html.escape(t)}"'
                f' src="{html.escape(t)}"></iframe>'
                for width in (PHONE[0], DESK[0])
                for t in self.server.targets
            )
            self.reply(200, [("Content-Type", "text/html")], f"<body>{frames}{MEASURE}</body>".encode())
        else:
            self.forward()

    def forward(self):
        proxy = self.server
        connection = http.client.HTTPConnection("127.0.0.1", proxy.service.port, timeout=PATIENCE_SECONDS)
        accept = {"Accept": self.headers.get("Accept", "*/*")}
        connection.request("GET", self.path, headers={"Cookie": proxy.cookie, **accept})
        answer = connection.getresponse()
        dropped = {"content-length", "connection"} | (set() if proxy.policy else {"content-security-policy"})
        self.reply(
            answer.status,
            [h for h in answer.getheaders() if h[0].lower() not in dropped],
            answer.read().replace(b"</body>", proxy.inject + b"</body>"),
        )
        connection.close()

    def reply(self, status, headers, body):
        self.send_response(status)
        for header in [*headers, ("Content-Length", str(len(body)))]:
            self.send_header(*header)
        self.end_headers()
        self.wfile.write(body)

    def log_message(self, *_):
        pass


class Browser:
    def __init__(self, proxy, folder):
        self.proxy, self.folder = proxy, folder

    def run(self, target, *options, size=DESK):
        done = subprocess.run(
            [
                "chromium",
                "--headless",
                "--no-sandbox",
                "--disable-gpu",
                "--hide-scrollbars",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--disable-dev-shm-usage",
                "--host-resolver-rules=MAP * ~NOTFOUND, EXCLUDE 127.0.0.1",
                f"--user-data-dir={self.folder}/profile",
                f"--window-size={size[0]},{size[1]}",
                *options,
                self.proxy.url(target),
            ],
            capture_output=True,
            timeout=600,
        )
        assert done.returncode == 0, done.stderr.decode(errors="replace")[-2000:]
        return done.stdout.decode()

    def measured(self):
        """Measures each page, on a phone and on a desktop."""
        self.proxy.policy = False
        dom = self.run("/frames", "--dump-dom", "--virtual-time-budget=20000")
        self.proxy.policy = True
        return json.loads(html.unescape(re.search(r'data-measured="([^"]*)"', dom)[1]))

    def picture(self, target, size, *options):
        path = self.folder / "picture.png"
        self.run(target, f"--screenshot={path}", *options, size=size)
        return png(path.read_bytes())

    def printed(self, target):
        """The sizes of the printed pages, in points."""
        path = self.folder / "printed.pdf"
        self.run(target, f"--print-to-pdf={path}", "--no-pdf-header-footer")
        boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", path.read_bytes())
        return [(round(float(width)), round(float(height))) for width, height in boxes]


def unfilter(kind, line, above, step):
    """PNG (ISO/IEC 15948) section 9.2."""
    for i in range(len(line)):
        left, up = line[i - step] if i >= step else 0, above[i]
        corner = above[i - step] if i >= step else 0
        if kind == 1:
            line[i] = line[i] + left & 255
        elif kind == 2:
            line[i] = line[i] + up & 255
        elif kind == 3:
            line[i] = line[i] + (left + up) // 2 & 255
        elif kind == 4:
            guess = left + up - corner
            line[i] = line[i] + min((left, up, corner), key=lambda near: abs(guess - near)) & 255
    return line


def png(data):
    """Lines of pixels, each (red, green, blue)."""
    width, height, depth, colours = *(int.from_bytes(data[i : i + 4], "big") for i in (16, 20)), data[24], data[25]
    assert depth == 8 and colours in (2, 6) and data[28] == 0
    step, at, packed = {2: 3, 6: 4}[colours], 8, b""
    while at < len(data):
        length = int.from_bytes(data[at : at + 4], "big")
        if data[at + 4 : at + 8] == b"IDAT":
            packed += data[at + 8 : at + 8 + length]
        at += length + 12
    raw, lines, above = zlib.decompress(packed), [], bytearray(width * step)
    for y in range(height):
        start = y * (width * step + 1)
        above = unfilter(raw[start], bytearray(raw[start + 1 : start + 1 + width * step]), above, step)
        lines.append([tuple(above[x : x + 3]) for x in range(0, width * step, step)])
    return lines


@pytest.fixture(scope="module")
def browser(net, tmp_path_factory):  # noqa: F811
    proxy = Proxy(net.service)
    yield Browser(proxy, tmp_path_factory.mktemp("browser"))
    proxy.shutdown()
    proxy.server_close()


def test_no_page_is_wider_than_its_window(browser):
    """WCAG 2.1 1.4.10, reflow: wide content scrolls in its own region."""
    measured = browser.measured()
    assert [(m["target"], m["inner"]) for m in measured] == [(t, w) for w in (PHONE[0], DESK[0]) for t in TARGETS]
    assert {m["styled"] for m in measured} == {"tabular-nums"}, "the style sheet came"
    assert [m for m in measured if m["scroll"] > m["inner"]] == []
    phone, desk = (
        [m["scrolling"] for m in measured if m["target"] == TARGETS[1] and m["inner"] == w] for w in (PHONE[0], DESK[0])
    )
    assert phone[0] >= 1 and desk == [0], "the positions scroll on a phone and fit on a desk"


def test_an_accountant_walks_by_links_alone(browser):
    """Index, settlement, statement, journal, event: follows only links that the browser itself has found in each
    page."""

    def links(dom):
        return [html.unescape(link) for link in re.findall(r'<a [^>]*href="([^"]+)"', dom)]

    reached = walk(lambda target: browser.run(target, "--dump-dom"), links, *ACCOUNTANTS_WALK)
    assert reached and "<h1>Event</h1>" in reached and ">Legs<" in reached


def test_the_policy_stops_scripts(browser):
    browser.proxy.inject = SCRIPT
    stopped = browser.run("/", "--dump-dom")
    browser.proxy.policy = False
    ran = browser.run("/", "--dump-dom")
    browser.proxy.policy, browser.proxy.inject = True, b""
    assert SCRIPT.decode() in stopped and "data-ran" not in stopped and 'data-ran="1"' in ran


def rgb(colour):
    return tuple(int(colour[i : i + 2], 16) for i in (1, 3, 5))


@pytest.mark.parametrize("size", [PHONE, DESK])
@pytest.mark.parametrize("scheme", [0, 1])
def test_pictures_show_a_page_in_the_readers_colours(net, browser, size, scheme):  # noqa: F811
    """preferredColorScheme 0 is dark, 1 light."""
    light, dark, _ = palettes(net.service.client().send("GET", "/style.css").body.decode())
    palette = light if scheme else dark
    lines = browser.picture(TARGETS[1], size, f"--blink-settings=preferredColorScheme={scheme}")
    assert (len(lines[0]), len(lines)) == size
    pixels = [pixel for line in lines for pixel in line]
    assert lines[2][-2] == rgb(palette["paper"]), "the paper"
    written = sum(pixel != rgb(palette["paper"]) for pixel in pixels) / len(pixels)
    assert 0.02 < written < 0.6, "neither blank nor covered"
    for ink in ("ink", "ink-link"):
        assert rgb(palette[ink]) in pixels, ink


def test_paper_is_a4_and_turned_for_wide_tables(browser):
    """ISO 216: 210 mm x 297 mm, which is 595 x 842 points."""
    assert set(browser.printed("/v1/reports/trial-balance?scheme=tern-bay")) == {(595, 842)}
    assert set(browser.printed(TARGETS[1])) == {(842, 595)}
