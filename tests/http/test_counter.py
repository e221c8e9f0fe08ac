# SPDX-License-Identifier: ISC
"""The counter page, for a cafe whose till does not post events: each action, what it tells, what it costs to do it
twice, and who may."""
import re
from datetime import date, datetime, timedelta, timezone
from uuid import uuid4

import pytest

import network
from browser import Browser, Form
from harness import at_once, new_service
from network import cups, event
from pages import Page, tidy
from test_browser import Browser as Chromium
from test_browser import Proxy
from test_sign_in import ELSEWHERE

DAY = date.today() - timedelta(days=2)
VALUES = {"cup-300": "2.50", "cup-450": "3.00"}


def now():
    return network.utc(datetime.now(timezone.utc))


class Counter:
    """A person at a counter, at the page that the browser shows."""

    def __init__(self, service, name, secret, target=None):
        self.browser = Browser(service)
        landed = self.browser.sign_in(name, secret)
        assert (landed.status, landed.headers["Location"]) == (303, "/counter")
        self.open(target or "/counter")

    def open(self, target, status=200):
        self.taps = 0
        self.take(self.browser.send("GET", target), status)

    def take(self, answer, status):
        """Goes where a browser would go."""
        if answer.status == 303:
            self.target = answer.headers["Location"]
            answer = self.browser.send("GET", self.target)
        assert answer.status == status, (answer.status, answer.text[:3000])
        assert tidy(answer.text.encode()) == ""
        self.page = Page(answer.text.encode())

    def form(self, form, **having):
        return Form(self.browser, self.page, "/counter", form=form, **having)

    def tap(self, act, cup_type="cup-300", status=200):
        self.taps += 1
        self.take(self.form("tap", act=act, cup_type=cup_type).send(), status)

    def send(self, act, cup_type="cup-300", status=200, damaged=False, **fields):
        """By the form for more than one cup."""
        ticks = {"damaged": "yes"} if damaged else {}
        self.take(self.form("more", cup_type=cup_type).fill(fields).send(act=act, **ticks), status)

    def undo(self, event_id, status=200):
        self.take(self.form("undo", reverses=event_id).send(), status)

    @property
    def told(self):
        """The sentence, and what stands below it."""
        [section] = [s for s in self.page.all("section") if s.has_class("told")]
        sentence, *rest = [e.text for e in section.all("p", "li")]
        return (sentence, *rest)

    @property
    def events(self):
        rows = self.page.table("Events of today")
        return [(r["What"], r["Taken, CAD"], bool(r["Undo"])) for r in rows]

    @property
    def totals(self):
        [figures] = [u for u in self.page.all("ul") if u.has_class("glance")]
        return {li.first("span").text: li.first("b").text for li in figures.all("li")}

    @property
    def recorded(self):
        return re.search("recorded=([^&]*)", self.target)[1]


@pytest.fixture
def net(service):
    service.admin.load(
        network.reference(
            [network.scheme("tern-bay", DAY, VALUES)],
            {
                "anchor": ("tern-bay", "hearth"),
                "brick": ("tern-bay", "miller"),
                "dock": ("tern-bay", "hearth", {"name": "<Dock> & Quay"}),
            },
        )
    )
    service.keys = {
        "anchor-till": service.create_key("anchor-till", "pos", sites=["anchor"]),
        "two-tills": service.create_key("two-tills", "pos", sites=["anchor", "dock"]),
    }
    service.admin.post(event("supply", "anchor", now(), cups=cups(cup_300=100, cup_450=50)))
    return service


@pytest.fixture
def counter(net):
    return Counter(net, "anchor-till", net.keys["anchor-till"])


def feed(net, *kinds):
    return [
        e["event"]
        for e in net.admin.feed("tern-bay")
        if e["kind"] in (kinds or ("issue", "return", "exchange", "reversal"))
    ]


def today(net):
    [site] = net.client(net.keys["anchor-till"]).get("/v1/me")["sites"]
    return site["business_date"]


def reported(net):
    """The totals that the report has for the site and the day, as the page labels them."""
    day = today(net)
    report = net.admin.get("/v1/reports/day-totals", scheme="tern-bay", **{"from": day, "to": day})
    [row] = [r for r in report["items"] if r["site"] == "anchor"]
    return {
        "Cups out": str(row["issued_recorded"]),
        "Cups back": str(row["returned_recorded"]),
        "Collected": row["collected_recorded"],
        "Refunded": row["refunded_recorded"],
    }


def test_a_cup_out_is_one_tap(net, counter):
    assert counter.page.title == "Anchor"
    [when] = [p for p in counter.page.all("p") if p.has_class("when")]
    assert re.search(r"Business day \w+ \d+ \w+ \d{4}, \d\d:\d\d in America/St_Johns", when.text)
    counter.tap("out")
    assert counter.taps == 1
    assert counter.told[0] == "Take 2.50 CAD for 1 × Cup 300 ml."
    [posted] = feed(net)
    assert posted["kind"] == "issue" and posted["site"] == "anchor" and posted["issued"] == cups(cup_300=1)
    assert posted["event_id"] == counter.recorded


def test_each_action_and_the_totals(net, counter):
    """The page's money is that of the report."""
    counter.tap("out")
    counter.tap("out", "cup-450")
    assert counter.told[0] == "Take 3.00 CAD for 1 × Cup 450 ml."
    counter.tap("back")
    assert counter.told[0] == "Give 2.50 CAD for 1 × Cup 300 ml."
    counter.tap("swap", "cup-450")
    assert counter.told[0] == "No money: 1 × Cup 450 ml back, 1 × Cup 450 ml out."
    counter.send("out", quantity="4")
    assert counter.told[0] == "Take 10.00 CAD for 4 × Cup 300 ml."
    assert counter.totals == {**reported(net), "Collected less refunded": "13.00"}
    assert counter.totals == {
        "Cups out": "7",
        "Cups back": "2",
        "Collected": "15.50",
        "Refunded": "2.50",
        "Collected less refunded": "13.00",
    }
    assert [e["kind"] for e in feed(net)] == ["issue", "issue", "return", "exchange", "issue"]
    assert sum(float(taken) for _, taken, _ in counter.events if taken) == 13.00
    assert counter.events[0] == ("4 × Cup 300 ml out", "10.00", True)
    assert counter.events[-1] == ("Supplied: 100 × Cup 300 ml, 50 × Cup 450 ml", "", True)
    net.admin.assert_holds("tern-bay")


def test_damaged_cups_go_to_the_damaged(net, counter):
    counter.tap("out")
    counter.send("back", quantity="1", damaged=True)
    assert counter.told[0] == "Give 2.50 CAD for 1 × Cup 300 ml (damaged)."
    assert feed(net, "return")[0]["returned"] == [{"cup_type": "cup-300", "quantity": 1, "condition": "damaged"}]
    counter.send("swap", quantity="1", damaged=True)
    assert feed(net, "exchange")[0]["issued"] == cups(cup_300=1)
    counter.send("out", quantity="1", damaged=True, status=422)
    assert "Damaged cups never go out" in counter.told[1]
    [box] = [i for i in counter.page.all("input") if i.get("name") == "damaged" and "checked" in i.attributes]
    assert box.get("id") == "damaged-cup-300" and box.get("aria-invalid") == "true"
    assert len(feed(net)) == 3


def test_an_amount_tender_and_reference(net, counter):
    counter.send("out", quantity="2", amount="4.00", tender="cash", reference="No. <7>")
    sentence, recorded, *exceptions = counter.told
    assert sentence == "Take 4.00 CAD for 2 × Cup 300 ml." and recorded.startswith("Recorded at ")
    assert exceptions == ["By the tariff, the drawer should hold 1.00 CAD more."]
    [posted] = feed(net)
    assert (posted["amount"], posted["tender"], posted["reference"]) == ("4.00", "cash", "No. <7>")
    assert counter.events[0][0] == "2 × Cup 300 ml out No. <7>"
    counter.send("swap", quantity="1", amount="-0.50")
    assert counter.told[0] == "Give 0.50 CAD: 1 × Cup 300 ml back, 1 × Cup 300 ml out."
    assert counter.totals == {**reported(net), "Collected less refunded": "3.50"}


def test_consequences_are_told_in_words(net, counter):
    counter.send("back", quantity="3")
    assert counter.told[2:] == ("Cup 300 ml: by the books more came back than were out.",)
    counter.send("out", "cup-450", quantity="52")
    assert counter.told[2:] == (
        "Cup 450 ml: by the books 2 more went out than there were. Count them, and tell the office.",
    )


def test_undo(net, counter):
    """Once, and only where there is something to undo."""
    counter.send("out", quantity="2")
    first = counter.recorded
    again = counter.form("undo", reverses=first)
    counter.undo(first)
    assert counter.told[0] == "Give 5.00 CAD: Undone: 2 × Cup 300 ml out."
    assert counter.totals == {**reported(net), "Collected less refunded": "0.00"}
    (undone, gave, _), (original, took, may) = counter.events[:2]
    assert (undone, gave) == ("Undone: 2 × Cup 300 ml out", "-5.00")
    assert original.startswith("2 × Cup 300 ml out undone at ") and (took, may) == ("5.00", False)
    assert [e.get("reverses") for e in feed(net, "reversal")] == [first]
    counter.take(again.send(), 200)  # the same tap once more
    assert "Nothing was recorded again" in counter.told[1]
    again.fields["event_id"] = str(uuid4())
    counter.take(again.send(), 422)
    assert counter.told == ("Nothing was recorded.", "The event is reversed already")
    assert len(feed(net, "reversal")) == 1
    net.admin.assert_holds("tern-bay")


def test_undo_where_it_is_told(net, counter):
    counter.tap("back")
    counter.take(counter.form("told").send(), 200)
    assert counter.told[0] == "Take 2.50 CAD: Undone: 1 × Cup 300 ml back."


def test_a_fault_of_both_halves_of_a_swap_is_told_once(counter):
    counter.send("swap", quantity="0", status=422)
    assert counter.told == ("Nothing was recorded.", "How many: must be 1 to 1000000")


def test_a_double_tap_records_once(net, counter):
    tap = counter.form("tap", act="out", cup_type="cup-300")
    answers = at_once(*[tap.send] * 4)
    assert {a.status for a in answers} == {303} and len(feed(net)) == 1
    counter.take(tap.send(), 200)
    sentence, rest = counter.told
    assert sentence == "Take 2.50 CAD for 1 × Cup 300 ml."
    assert re.fullmatch(r"This had been recorded already, at \d\d:\d\d. Nothing was recorded again.", rest)
    assert len(feed(net)) == 1


def test_the_back_button_and_another_number(net, counter):
    """A page from before the tap sends an id that is taken. The page tells what was recorded under it."""
    stale = counter.form("more", cup_type="cup-300")
    counter.take(stale.fill({"quantity": "2"}).send(act="out"), 200)
    counter.take(stale.fill({"quantity": "3"}).send(act="back"), 200)
    assert counter.told[0] == "Take 5.00 CAD for 2 × Cup 300 ml."
    assert "Nothing was recorded again" in counter.told[1]
    assert [(e["kind"], e.get("issued")) for e in feed(net)] == [("issue", cups(cup_300=2))]


def test_a_reload_records_nothing(net, counter):
    counter.tap("out")
    before = counter.told
    counter.open(counter.target)
    assert counter.told == before and len(feed(net)) == 1


@pytest.mark.parametrize(
    "fields, field, said",
    [
        ({"quantity": "0"}, "quantity", "must be 1 to 1000000"),
        ({"quantity": "1000001"}, "quantity", "must be 1 to 1000000"),
        ({"quantity": "two"}, "quantity", "must be an integer"),
        ({"quantity": "-1"}, "quantity", "must be an integer"),
        ({"quantity": ""}, "quantity", "is required"),
        ({"amount": "2,50"}, "amount", "must be a decimal number"),
        ({"amount": "2.505"}, "amount", "CAD has 2 decimals"),
        ({"amount": "-1.00"}, "amount", "must not be negative"),
        ({"reference": "x" * 65}, "reference", "its length in characters"),
        ({"tender": "shells"}, "tender", "must be"),
    ],
)
def test_faults_stand_beside_their_fields(net, counter, fields, field, said):
    """The page keeps the typed values, and the id of the event."""
    before = counter.form("more", cup_type="cup-300").fields["event_id"]
    counter.send("out", status=422, **fields)
    assert counter.told[0] == "Nothing was recorded." and said in counter.told[1]
    again = counter.form("more", cup_type="cup-300")
    assert again.fields["event_id"] == before
    [control] = [c for c in again.element.all("input", "select") if c.get("name") == field]
    assert control.get("aria-invalid") == "true"
    [beside] = [e for e in again.element.all("strong") if e.get("id") in control.get("aria-describedby").split()]
    assert said in beside.text
    if field != "tender":
        assert again.fields[field] == fields[field]
    assert "open" in again.element.parent.attributes and feed(net) == []
    assert "open" not in counter.form("more", cup_type="cup-450").element.parent.attributes
    counter.take(again.fill({"quantity": "1", "amount": "", "reference": "", "tender": ""}).send(act="out"), 200)
    assert counter.recorded == before


@pytest.mark.parametrize(
    "broken, status",
    [
        ({"event_id": "x"}, 422),
        ({"event_id": ""}, 422),
        ({"cup_type": "mug"}, 422),
        ({"act": "sell"}, 422),
        ({"act": ""}, 422),
        ({"act": "undo"}, 422),
        ({"site": "no-such-site"}, 403),
        ({"site": "brick"}, 403),
        ({"site": ""}, 422),
    ],
)
def test_fields_that_were_tampered_with(net, counter, broken, status):
    tap = counter.form("tap", act="out", cup_type="cup-300").fill(broken)
    counter.take(tap.send(), status)
    assert counter.told[0] == "Nothing was recorded." and feed(net) == []


def test_a_site_of_somebody_else(net, counter):
    counter.open("/counter?site=brick", 404)
    counter.open("/counter?site=no-such-site", 404)
    brick = event("issue", "brick", now(), issued=cups(cup_300=1))
    net.admin.post(brick)
    counter.open(f"/counter?site=anchor&recorded={brick['event_id']}")
    assert not [s for s in counter.page.all("section") if s.has_class("told")], "an event of another site"
    stolen = counter.form("tap", act="out", cup_type="cup-300").fill({"event_id": brick["event_id"]})
    counter.take(stolen.send(), 200)
    assert counter.told == ("Nothing was recorded.", "The form was no longer good. Tap again.")
    counter.take(
        counter.browser.submit(
            "/counter", {"act": "undo", "event_id": str(uuid4()), "site": "anchor", "reverses": brick["event_id"]}
        ),
        422,
    )
    assert "no event with this id" in counter.told[1] and feed(net, "reversal") == []


def test_a_key_of_several_sites_chooses(net):
    counter = Counter(net, "two-tills", net.keys["two-tills"])
    [places] = [u for u in counter.page.all("ul") if u.has_class("places")]
    assert [(a.get("href"), a.first("b").text) for a in places.all("a")] == [
        ("/counter?site=dock", "<Dock> & Quay"),
        ("/counter?site=anchor", "Anchor"),
    ]
    counter.open("/counter?site=dock")
    assert counter.page.title == "<Dock> & Quay" and "/counter" in counter.page.links
    counter.tap("out")
    assert counter.page.title == "<Dock> & Quay" and feed(net)[0]["site"] == "dock"


def test_a_site_that_has_closed(net, counter):
    """Cups go on coming back. The page says so, and the office is told."""
    site = {k: v for k, v in net.admin.get("/v1/sites/anchor").items() if k != "site"}
    net.admin.put("/v1/sites/anchor", {**site, "closed_on": str(DAY)})
    counter.open("/counter")
    assert any("The last day of this site was" in p.text for p in counter.page.all("p"))
    counter.tap("back")
    assert "The site's last day has passed." in counter.told


@pytest.mark.parametrize("role", ["admin", "accountant", "auditor", "participant"])
def test_other_roles_are_refused(net, role):
    bound = {"participant": "hearth"} if role == "participant" else {}
    browser = Browser(net)
    answer = browser.sign_in(f"a-{role}", net.create_key(f"a-{role}", role, **bound))
    assert (answer.status, answer.headers["Location"]) == (303, "/")
    assert browser.send("GET", "/counter").status == 403
    fields = {"act": "out", "event_id": str(uuid4()), "site": "anchor", "cup_type": "cup-300", "quantity": "1"}
    assert browser.submit("/counter", fields).status == 403
    assert "/counter" not in browser.send("GET", "/").text and feed(net) == []


def test_a_tap_after_the_session_has_ended(net, counter):
    """The page to sign in says that the tap did nothing. After signing in, the person is at the counter again."""
    tap = counter.form("tap", act="out", cup_type="cup-300")
    [session] = net.client(net.keys["anchor-till"]).items("/v1/me/sessions")
    net.client(net.keys["anchor-till"]).send("DELETE", f"/v1/me/sessions/{session['session']}")
    late = tap.send()
    assert late.status == 401 and "Nothing was recorded: you are not signed in any more" in late.text
    assert tidy(late.text.encode()) == "" and feed(net) == []
    assert "Nothing was recorded" not in Browser(net).send("GET", "/counter").text
    again = counter.browser.sign_in("anchor-till", net.keys["anchor-till"])
    assert (again.status, again.headers["Location"]) == (303, "/counter")


def test_only_a_session_works_the_counter(net, counter):
    """A program has POST /v1/events."""
    fields = counter.form("tap", act="out", cup_type="cup-300").fields
    stranger, by_key = Browser(net), {"Authorization": f"Bearer {net.keys['anchor-till']}"}
    assert stranger.send("GET", "/counter").status == 401
    assert stranger.send("GET", "/counter", **by_key).status == 401
    assert stranger.submit("/counter", fields).status in (401, 403)
    assert stranger.submit("/counter", fields, **by_key).status == 401
    assert feed(net) == []


@pytest.mark.parametrize("what", ELSEWHERE)
def test_no_other_site_sends_a_form(net, counter, what):
    fields = counter.form("tap", act="out", cup_type="cup-300").fields
    assert counter.browser.submit("/counter", fields, **ELSEWHERE[what]).status == 403
    assert feed(net) == []


def test_the_start_page_leads_there(net, counter):
    start = Page(counter.browser.send("GET", "/").text.encode())
    assert "/counter" in start.links


def test_a_long_day(net, counter):
    """The page lists the newest events, and its totals are those of all."""
    net.admin.post_many([event("issue", "anchor", now(), issued=cups(cup_300=1)) for _ in range(60)])
    counter.open("/counter")
    assert len(counter.events) == 50 and counter.totals["Cups out"] == "60"
    assert counter.totals["Collected"] == "150.00"
    [link] = {li.first("a").get("href") for li in counter.page.all("li") if li.first("b")}
    listed = Page(counter.browser.send("GET", link + "&limit=1000").text.encode())
    assert listed.source.count("issue") >= 60


def test_it_fits_a_phone_and_a_thumb(net, counter, tmp_path):
    """WCAG 2.2: 1.4.10 (reflow), and 2.5.8 (targets of at least 24 px), with all parts of the page open. The buttons
    for one cup have at least 56 px."""
    counter.send("out", quantity="2", amount="1.00", reference="x" * 64)
    counter.undo(counter.recorded)
    proxy = Proxy(net, "anchor-till", net.keys["anchor-till"], ["/counter", counter.target])
    try:
        measured = Chromium(proxy, tmp_path).measured()
    finally:
        proxy.shutdown()
        proxy.server_close()
    assert len(measured) == 4
    assert [m for m in measured if m["scroll"] > m["inner"]] == []
    assert [m["scrolling"] for m in measured] == [0] * 4, "the list of today's events fits"
    assert all(m["smallest"] >= 24 and m["taps"] >= 56 for m in measured), measured


def test_rates_hold_here_as_elsewhere(database):
    service = new_service(database, key_rate=1, key_burst=20)
    try:
        service.admin.load(
            network.reference([network.scheme("tern-bay", DAY, VALUES)], {"anchor": ("tern-bay", "hearth")})
        )
        counter = Counter(service, "anchor-till", service.create_key("anchor-till", "pos", sites=["anchor"]))
        statuses = []
        while 429 not in statuses:
            statuses.append(counter.form("tap", act="out", cup_type="cup-300").send().status)
            assert statuses[-1] in (303, 429) and len(statuses) < 100
        assert statuses[-2] == 303
    finally:
        service.stop()


def ask(net, site, to, lines, **more):
    wanted = {"site": site, "to": to, "wanted_on": str(DAY), "cups": lines, **more}
    answer = net.admin.send("POST", "/v1/shipments", {"scheme": "tern-bay", "shipments": [wanted]})
    return answer.json["items"][0]["shipment"]


def test_a_shipment_is_sent_with_one_tap_and_received_with_another(net, counter):
    """The form begins with what is left. The page posts what a till would post."""
    asked = ask(net, "anchor", "brick", cups(("cup-300", 2), cup_300=10, cup_450=4), note="<by> the side door")
    counter.open("/counter")
    [heading] = [h.text for h in counter.page.all("h2") if h.text.startswith("To send")]
    assert heading.startswith("To send to Brick") and "<by> the side door" in [p.text for p in counter.page.all("p")]
    form = counter.form("to_send", shipment=asked)
    assert [form.fields[f"count-{n}"] for n in range(3)] == ["10", "2", "4"]
    counter.take(form.fill({"count-0": "7", "count-2": "0"}).send(), 200)
    assert counter.told[0] == "Sent away: 7 × Cup 300 ml, 2 × Cup 300 ml (damaged)."
    [sent] = feed(net, "dispatch")
    assert (sent["site"], sent["to"], sent["shipment"]) == ("anchor", "brick", asked)
    assert sent["cups"] == cups(cup_300=7) + cups(("cup-300", 2))
    rest = counter.form("to_send", shipment=asked)
    assert [rest.fields[f"count-{n}"] for n in range(2)] == ["3", "4"]
    counter.take(rest.send(), 200)
    assert not [h for h in counter.page.all("h2") if h.text.startswith("To send")]

    there = Counter(net, "brick-till", net.create_key("brick-till", "pos", sites=["brick"]))
    form = there.form("to_receive", dispatch=sent["event_id"])
    assert [form.fields[f"count-{n}"] for n in range(2)] == ["7", "2"]
    there.take(form.fill({"count-0": "5"}).send(), 200)
    assert there.told[0] == "Arrived: 5 × Cup 300 ml, 2 × Cup 300 ml (damaged)."
    assert there.form("to_receive", dispatch=sent["event_id"]).fields["count-0"] == "2"
    shipment = net.admin.get(f"/v1/shipments/{asked}")
    assert (shipment["state"], shipment["waits_for"]) == ("short", ["receiver", "accountant"])
    net.admin.assert_holds()


def test_a_double_tap_sends_a_shipment_once(net, counter):
    asked = ask(net, "anchor", "brick", cups(cup_300=10))
    counter.open("/counter")
    form = counter.form("to_send", shipment=asked)
    counter.take(form.send(), 200)
    counter.take(form.send(), 200)
    assert "Nothing was recorded again" in counter.told[1] and len(feed(net, "dispatch")) == 1


@pytest.mark.parametrize("typed", ("-1", "many", "2.5", "1000001"))
def test_a_number_of_cups_that_is_none(net, counter, typed):
    asked = ask(net, "anchor", "brick", cups(cup_300=10))
    counter.open("/counter")
    counter.take(counter.form("to_send", shipment=asked).fill({"count-0": typed}).send(), 422)
    assert counter.told[0] == "Nothing was recorded." and feed(net, "dispatch") == []
    assert counter.form("to_send", shipment=asked).fields["count-0"] == typed


@pytest.mark.parametrize(
    "broken", ({"line-0": "cup-300/rotten"}, {"line-0": "x" * 5000}, {"to": "anchor"}, {"count-0": "0"})
)
def test_a_shipment_s_form_that_was_tampered_with(net, counter, broken):
    asked = ask(net, "anchor", "brick", cups(cup_300=10))
    counter.open("/counter")
    counter.take(counter.form("to_send", shipment=asked).fill(broken).send(), 422)
    assert counter.told[0] == "Nothing was recorded." and feed(net, "dispatch") == []
