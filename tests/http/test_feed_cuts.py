# SPDX-License-Identifier: ISC
"""The feed shows the cut of each day. A replay closes a day where the feed shows its cut, and every event posts to the
same day, also one that raced the close (the accounting contract, "The close, and netting")."""
import random

import psycopg2
import pytest

import network
from harness import Database, cut_only, new_service
from model import DAY, Model
from network import WORKED_DAY, at, cups, event
from test_model import CUP_TYPES, FIRST_DAY, SEED, Stream, open_scheme, post_day, random_scheme
from test_schema import MIGRATIONS

REPLAYED_DAYS = 8


def load(service, first=WORKED_DAY):
    sites = {"anchor": ("tern-bay", "hearth"), "brick": ("tern-bay", "miller"), "gull": ("skerry", "quay")}
    schemes = [network.scheme(code, first, {"cup-300": "2.50"}) for code in ("tern-bay", "skerry")]
    service.admin.load(network.reference(schemes, sites))
    return service.admin


def issue(day, site="anchor", n=1):
    return event("issue", site, at(day), issued=cups(cup_300=n))


def shape(feed):
    """Entries as (number, kind), cuts as their days."""
    return [
        item["business_date"] if item["kind"] == "day_cut" else (item["entry"], item["kind"], item["business_date"])
        for item in feed
    ]


def test_a_cut_stands_after_the_last_entry_before_it(service):
    admin = load(service)
    days = [WORKED_DAY + n * DAY for n in range(4)]
    admin.post_many([issue(days[0]), issue(days[1])])  # 1, and 2 for the next day before this one is cut
    with cut_only(service, days[0]):
        assert shape(admin.feed_with_cuts("tern-bay"))[-1] == str(days[0])
        assert [admin.post(issue(day))["late"] for day in (days[0], days[1])] == [True, False]  # 3 and 4
    feed = admin.feed_with_cuts("tern-bay")
    assert shape(feed) == [
        (1, "issue", str(days[0])),
        (2, "issue", str(days[1])),
        str(days[0]),
        (3, "issue", str(days[1])),
        (4, "issue", str(days[1])),
        (5, "settle", str(days[0])),
    ]
    cut = feed[2]
    assert cut == {"kind": "day_cut", "business_date": str(days[0]), "recorded_at": cut["recorded_at"]}
    admin.close("tern-bay", days[0])  # a second close returns the same, and cuts nothing
    admin.close("tern-bay", days[1])
    admin.close("tern-bay", days[2])  # a day without entries
    admin.post(issue(days[3]))
    after = shape(admin.feed_with_cuts("tern-bay"))[len(feed) :]
    assert after == [
        str(days[1]),
        (6, "settle", str(days[1])),
        str(days[2]),
        (7, "issue", str(days[3])),
    ]
    admin.assert_holds()


def test_a_dry_run_cuts_nothing(service):
    admin = load(service)
    admin.post(issue(WORKED_DAY))
    shown = admin.send("POST", f"/v1/schemes/tern-bay/days/{WORKED_DAY}/close?dry_run=true")
    assert shown.status == 200 and shape(admin.feed_with_cuts("tern-bay")) == [(1, "issue", str(WORKED_DAY))]


def test_pages_of_any_size_show_the_same(service):
    """Three cuts stand after the same entry. A reader that stands there, after any of them, misses nothing and sees
    nothing twice, whatever is recorded later."""
    admin = load(service)
    days = [WORKED_DAY + n * DAY for n in range(6)]
    page = admin.get("/v1/events", scheme="tern-bay")
    assert page["items"] == []
    admin.close("tern-bay", days[0])  # before the first entry
    page = admin.get("/v1/events", scheme="tern-bay", cursor=page["next"])
    assert shape(page["items"]) == [str(days[0])]
    admin.post_many([issue(days[1], n=n) for n in (1, 2, 3)])
    for day in days[1:5]:
        before = admin.get("/v1/events", scheme="tern-bay", cursor=page["next"])
        admin.close("tern-bay", day)
        page = admin.get("/v1/events", scheme="tern-bay", cursor=before["next"])
        assert str(day) in shape(page["items"])
        again = admin.get("/v1/events", scheme="tern-bay", cursor=page["next"])
        assert (again["items"], again["next"]) == ([], page["next"])
    whole = shape(admin.feed_with_cuts("tern-bay"))
    assert whole == [
        str(days[0]),
        *[(n, "issue", str(days[1])) for n in (1, 2, 3)],
        str(days[1]),
        (4, "settle", str(days[1])),
        *map(str, days[2:5]),
    ]
    for limit in (1, 2, 3, 4, 7):
        assert shape(admin.items("/v1/events", scheme="tern-bay", limit=limit)) == whole, limit
    assert admin.feed_with_cuts("skerry") == []  # its days are its own


def test_lists_and_keys_of_tills_have_no_cuts(service):
    admin = load(service)
    admin.post(issue(WORKED_DAY))
    admin.close("tern-bay", WORKED_DAY)
    till = service.client(service.create_key("till", "pos", sites=["anchor"]))
    for client, query in (
        (admin, {"kind": "issue"}),
        (admin, {"site": "anchor"}),
        (admin, {"business_date": WORKED_DAY}),
        (admin, {"from": WORKED_DAY}),
        (till, {}),
    ):
        found = client.items("/v1/events", scheme="tern-bay", **query)
        assert found and all("entry" in item for item in found), query
    place = admin.get("/v1/events", scheme="tern-bay", limit=2)["next"]
    assert "-" in place, "it stands after the cut"
    for path in (f"/v1/events?scheme=tern-bay&kind=issue&cursor={place}", f"/v1/changes?cursor={place}"):
        admin.refused("GET", path, None, 422, "parameter_invalid")
    till.refused("GET", f"/v1/events?cursor={place}", None, 422, "parameter_invalid")
    for wrong in ("1-", "-1", "1-x", "1-01", "1--1", "01-1", "1-99999999999", "1-1-1", "9223372036854775808-1"):
        admin.refused("GET", f"/v1/events?scheme=tern-bay&cursor={wrong}", None, 422, "parameter_invalid")


def test_cuts_of_an_older_version_are_found(service):
    """The migration works out where a day was cut that was closed before cuts were kept: no late event has a lower
    number, and no event of the day a higher one."""
    admin = load(service)
    days = [WORKED_DAY + n * DAY for n in range(5)]
    admin.post_many([issue(days[0]), issue(days[1])])
    admin.close("tern-bay", days[0])
    admin.post_many([issue(days[0]), issue(days[2])])
    for day in days[1:4]:
        admin.close("tern-bay", day)
    kept = "SELECT scheme, business_date, after_entry FROM day_cut ORDER BY 1, 2"
    before = service.database.rows(kept)
    assert [row[1] for row in before] == days[:4]
    [migration] = [m for m in MIGRATIONS if m.stem.endswith("_day_cuts")]
    connection = psycopg2.connect(service.database.owner_dsn)
    cursor = connection.cursor()
    cursor.execute("DROP TABLE day_cut; DROP FUNCTION day_cut_guard; DROP FUNCTION day_cut_is_kept CASCADE")
    cursor.execute(migration.read_text() + ";" + kept)
    found = cursor.fetchall()
    # Between the last event of a day and its cut there may be entries of other days, which post the same either way.
    assert [row[:2] for row in found] == [row[:2] for row in before]
    assert [row[2] for row in found] == [1, 4, 6, 7]
    assert all(older <= newer for (*_, older), (*_, newer) in zip(found, before))
    connection.rollback()
    connection.close()


# A replay -------------------------------------------------------------------------------------------------------------


@pytest.fixture
def replica():
    database = Database()
    second = new_service(database)
    yield second
    second.stop()
    database.drop()


class People:
    """Two who post, so that openings and journals can be approved."""

    def __init__(self, service):
        self.admin, self.second = service.admin, service.client(service.create_key("second", "accountant"))

    def replay(self, feed, scheme):
        for item in feed:
            stated = dict(item.get("event", {}))
            if item["kind"] == "day_cut":
                self.admin.close(scheme, item["business_date"])
            elif stated.pop("approved_by", None) is not None:
                assert self.admin.send("POST", "/v1/events", stated).status == 202
                many = "openings" if item["kind"] == "opening" else "journals"
                decided = self.second.send("POST", f"/v1/{many}/{stated['event_id']}/approve")
                assert decided.status == 200, decided.body
            elif stated:
                answer = self.admin.post(stated)
                assert (answer["business_date"], answer["late"]) == (item["business_date"], item["late"]), item


class StreamWithoutJournals(Stream):
    """How far a journal takes out more than there is depends on the fees of the close, and the model's close comes
    before its time here."""

    def day(self, day):
        return (event for event in super().day(day) if event["kind"] != "journal")


@pytest.mark.parametrize("stock_terms", ["on_loan", "on_deposit"])
def test_a_replay_comes_to_the_same(service, replica, stock_terms):
    """Random days. While each of them closes, the events of the next one are posted, and late ones with them."""
    print(f"DEPOSITD_MODEL_SEED={SEED}")
    rng = random.Random(SEED)
    scheme, sites = random_scheme(rng, "tern-bay", "CAD", "America/St_Johns", stock_terms, 0.05, "a", REPLAYED_DAYS)
    cup_types = [{"cup_type": c, "name": c, "volume_ml": 300, "mass_g": 50} for c in CUP_TYPES]
    document = network.reference([scheme], sites, cup_types)
    for each in (service, replica):
        each.admin.load(document)
    people, model = People(service), Model(document, "tern-bay")
    stream, known = StreamWithoutJournals(rng, model, 50), {}
    if rng.random() < 0.5:
        open_scheme((people.admin, people.second), model, stream, known)
    post_day(people.admin, people.second, [(model, stream, known)], FIRST_DAY)
    for day in (FIRST_DAY + n * DAY for n in range(REPLAYED_DAYS)):
        with cut_only(service, day):
            model.close(day)
            post_day(people.admin, people.second, [(model, stream, known)], day + DAY)
    feed = people.admin.feed_with_cuts("tern-bay")
    between = [i for i, item in enumerate(feed) if item["kind"] == "day_cut"]
    assert any(item.get("late") for item in feed) and len(between) == REPLAYED_DAYS

    copy = People(replica)
    copy.replay(feed, "tern-bay")
    assert events_of(copy.admin) == events_of(people.admin)
    for day in (FIRST_DAY + n * DAY for n in range(-1, REPLAYED_DAYS + 1)):
        assert copy.admin.accounts("tern-bay", as_of=day) == people.admin.accounts("tern-bay", as_of=day), day
    for day in (FIRST_DAY + n * DAY for n in range(REPLAYED_DAYS)):
        assert settlement(copy.admin, day) == settlement(people.admin, day)
    copy.admin.assert_holds()
    people.admin.assert_holds()


def events_of(client):
    return [(i["business_date"], i.get("late"), i.get("event")) for i in client.feed("tern-bay") if "event" in i]


def settlement(client, day):
    """All but the hashes, which hold the numbers of entries and the name of the key that closed."""
    whole = client.get(f"/v1/settlements/tern-bay/{day}")
    return {**{k: v for k, v in whole.items() if k != "closed_at"}, "seal": whole["seal"]["entries"]}
