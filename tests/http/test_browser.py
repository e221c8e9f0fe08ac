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
            kept: [...page.querySelectorAll("tbody tr:has(th):has(.k), tfoot tr:has(.k)")].map(row =>
              [row.querySelector("th"), row.querySelector(".k")].map(cell =>
                [cell.getBoundingClientRect().left, cell.getBoundingClientRect().right])),
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

    def printed(self, target, paper=None):
        """The page as PDF: its title, the size of each sheet in points, and the text of each sheet. `paper`: a size
        that the printer has; headless Chromium's own is Letter."""
        path = self.folder / "printed.pdf"
        if paper:
            self.proxy.policy = False
            style = f"<style>@page {{ size: {paper} }} @page wide {{ size: {paper} landscape }}</style>"
            self.proxy.inject = style.encode()
        self.run(target, f"--print-to-pdf={path}", "--no-pdf-header-footer")
        self.proxy.policy, self.proxy.inject = True, b""
        about = poppler("pdfinfo", "-l", "-1", path)
        sizes = re.findall(r"Page +\d+ size: +([\d.]+) x ([\d.]+) pts", about)
        return (
            re.search(r"Title: +(.*)", about)[1],
            [(round(float(width)), round(float(height))) for width, height in sizes],
            poppler("pdftotext", "-layout", path, "-").split("\f")[:-1],
        )


def poppler(*command):
    return subprocess.run(command, capture_output=True, text=True, check=True, timeout=600).stdout


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
    assert [(m["target"], m["scroll"]) for m in measured if m["scroll"] > m["inner"]] == []
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


LETTER, A4 = (612, 792), (595, 842)


@pytest.mark.parametrize("paper, size", [(None, LETTER), ("A4", A4)])
def test_paper_is_turned_for_wide_tables(browser, paper, size):
    """ISO 216 A4: 210 mm x 297 mm, which is 595 x 842 points. Letter: 8.5 in x 11 in."""
    assert set(browser.printed("/v1/reports/trial-balance?scheme=tern-bay", paper)[1]) == {size}
    assert set(browser.printed(TARGETS[1], paper)[1]) == {size[::-1]}


@pytest.mark.parametrize("paper", [None, "A4"])
def test_each_sheet_says_what_it_is(browser, paper):
    target = f"/v1/reports/journal?scheme=tern-bay&from={WORKED_DAY}&to={NEXT_DAY}"
    title, sizes, sheets = browser.printed(target, paper)
    assert title == f"Journal tern-bay {WORKED_DAY} {NEXT_DAY}"
    assert len(sheets) == len(sizes) >= 3
    for number, sheet in enumerate(sheets, 1):
        assert f"Page {number} of {len(sheets)}" in sheet
    rows = [sheet for sheet in sheets if "site_stock" in sheet]
    assert len(rows) >= 2
    for sheet in rows:
        assert f"{title}: All entries with their legs, in their order" in sheet
        assert re.search(r"Entry +Date +Kind +Site +Event id +Account +Unit +Debit +Credit", sheet)
    assert re.search(r"Made [\d-]{10} at [\d:]{5} UTC for the key first-admin\.", sheets[0])
    assert not any(word in sheet for sheet in sheets for word in ("Sign out", "Skip to", "The same as"))


def test_no_sheet_ends_with_a_heading(browser):
    """The name of a table, and its heads, stay with the first row."""
    _, _, sheets = browser.printed(TARGETS[1])
    last = [[line for line in sheet.splitlines() if line.strip()][-2] for sheet in sheets]
    heads = ("Positions", "Payments", "Seal", "What this close settles", "How far the payments are", "Participant")
    assert len(sheets) > 1 and not [line for line in last if line.strip().startswith(heads)], last
    totals = [line for sheet in sheets for line in sheet.splitlines() if line.startswith("Total ")]
    assert len(totals) == 2, "positions and payments have one total each, however many sheets they take"


def test_names_and_amounts_stay_in_view_on_a_phone(browser):
    """The first column and the position are both within the window before anybody scrolls."""
    kept = next(m["kept"] for m in browser.measured() if m["target"] == TARGETS[1] and m["inner"] == PHONE[0])
    assert len(kept) >= 4
    for name, amount in kept:
        assert 0 <= name[0] < name[1] <= amount[0] < amount[1] <= PHONE[0], (name, amount)
