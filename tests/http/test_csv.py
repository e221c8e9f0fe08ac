# SPDX-License-Identifier: ISC
"""Reference data from spreadsheets: CSV does the same as JSON, and faults are named by line and column. PostgreSQL's
COPY, as an independent reader of RFC 4180, finds the same cells in the same file."""
import csv
import io
import json
import random
import re
from datetime import date
from pathlib import Path

import psycopg2
import pytest

import network
from harness import new_service
from model import DAY
from network import at, cups, event

FIRST = date.today() - 3 * DAY
CSV = {"Content-Type": "text/csv"}
IBAN, OTHER_IBAN = "NL91ABNA0417164300", "GB82WEST12345698765432"  # of the standard's own examples

CUP_TYPES = """\
cup_type,name,volume_ml,mass_g,grai
cup-300,Cup,300,82,
cup-450,"Large cup, with lid",450,104,07312345000007
"""
PARTICIPANTS = f'''\
name,participant,bank_account.iban,bank_account.account,bank_account.bank_code,bic,tax_registered,mandate.id,mandate.signed_on
"Hearth ""on the Hill""",hearth,,00001001,TB-001,,TRUE,M-1,2025-04-01
=1+1,miller,{IBAN},,,ABNANL2A,false,,
"Quay
side",quay,,,,,,,
'''
SITES = """\
site,scheme,participant,name,kind,opened_on,closed_on,latitude,longitude,gln,par_stock.cup-450,par_stock.cup-300
anchor,tern-bay,hearth,Anchor,cafe,2025-04-01,,47.5667,-52.7,,20,40
brick,tern-bay,miller,Brick,return_point,2025-04-01,2099-12-31,,,4012345000009,,
wash,tern-bay,quay,Wash,hub,2025-04-01,,-1e1,0,,,7
"""
VALUES = f"""\
cup_type,effective_date,amount
cup-300,{FIRST},2.50
cup-450,{FIRST},3.50
cup-300,{FIRST + 30 * DAY},3.00
"""
PARTICIPANTS_AS_JSON = [
    {
        "participant": "hearth",
        "name": 'Hearth "on the Hill"',
        "bank_account": {"account": "00001001", "bank_code": "TB-001"},
        "tax_registered": True,
        "mandate": {"id": "M-1", "signed_on": "2025-04-01"},
    },
    {
        "participant": "miller",
        "name": "=1+1",
        "bank_account": {"iban": IBAN},
        "bic": "ABNANL2A",
        "tax_registered": False,
    },
    {"participant": "quay", "name": "Quay\nside"},
]
CUP_TYPES_AS_JSON = [
    {"cup_type": "cup-300", "name": "Cup", "volume_ml": 300, "mass_g": 82},
    {
        "cup_type": "cup-450",
        "name": "Large cup, with lid",
        "volume_ml": 450,
        "mass_g": 104,
        "grai": "07312345000007",
    },
]
OF_TERN_BAY = {"scheme": "tern-bay", "opened_on": "2025-04-01"}
SITES_AS_JSON = [
    {
        "site": "anchor",
        **OF_TERN_BAY,
        "participant": "hearth",
        "name": "Anchor",
        "kind": "cafe",
        "latitude": 47.5667,
        "longitude": -52.7,
        "par_stock": [{"cup_type": "cup-450", "quantity": 20}, {"cup_type": "cup-300", "quantity": 40}],
    },
    {
        "site": "brick",
        **OF_TERN_BAY,
        "participant": "miller",
        "name": "Brick",
        "kind": "return_point",
        "closed_on": "2099-12-31",
        "gln": "4012345000009",
    },
    {
        "site": "wash",
        **OF_TERN_BAY,
        "participant": "quay",
        "name": "Wash",
        "kind": "hub",
        "latitude": -10,
        "longitude": 0,
        "par_stock": [{"cup_type": "cup-300", "quantity": 7}],
    },
]
SCHEME = network.scheme("tern-bay", FIRST, {}, dual_control=True)
FILES = {
    "/v1/cup-types": CUP_TYPES,
    "/v1/participants": PARTICIPANTS,
    "/v1/schemes/tern-bay/refund-values": VALUES,
    "/v1/sites": SITES,
}
COUNTS = {
    "schemes": 0,
    "participants": 0,
    "sites": 0,
    "cup_types": 0,
    "terms": 0,
    "refund_values": 0,
    "office_accounts": 0,
    "tax_registrations": 0,
    "site_kinds": 0,
    "agreements": 0,
}


def load(client, path, text, query=""):
    return client.send("POST", path + query, text if isinstance(text, bytes) else text.encode(), CSV)


def loaded(client, path, text, query=""):
    answer = load(client, path, text, query)
    assert answer.status == 200, answer.body
    return answer.json


def faults_of(answer):
    """Each fault as (pointer, reason). Its detail says the same place in words."""
    for fault in answer.json.get("errors", []):
        line, _, column = fault["pointer"].removeprefix("/").partition("/")
        place = f"line {line}, column {column}: " if column else f"line {line}: " if line else ""
        assert fault["detail"].startswith(place) and len(fault["detail"]) > len(place), fault
    return [(fault["pointer"], fault["reason"]) for fault in answer.json.get("errors", [])]


@pytest.fixture(scope="module")
def net(shared):
    """Loaded from CSV alone, but for the scheme with its terms."""
    shared.admin.load({"schemes": [SCHEME]})
    for path, text in FILES.items():
        loaded(shared.admin, path, text)
    return shared


def test_the_same_as_json(net, database):
    by_json = new_service(database)
    try:
        by_json.admin.load(
            {
                "cup_types": CUP_TYPES_AS_JSON,
                "participants": PARTICIPANTS_AS_JSON,
                "schemes": [
                    {
                        **SCHEME,
                        "refund_values": [
                            dict(zip(("cup_type", "effective_date", "amount"), line.split(",")))
                            for line in VALUES.splitlines()[1:]
                        ],
                    }
                ],
                "sites": SITES_AS_JSON,
            }
        )
        assert net.admin.get("/v1/reference") == by_json.admin.get("/v1/reference")
    finally:
        by_json.stop()
    till = net.client(net.create_key("till", "pos", sites=["anchor"]))
    assert till.post(event("issue", "anchor", at(FIRST), issued=cups(cup_300=2)))["status"] == "recorded"


@pytest.mark.parametrize("path", FILES)
@pytest.mark.parametrize("form", ["as it is", "CRLF", "BOM", "semicolons", "quoted", "shuffled", "blank lines"])
def test_every_form_of_a_file_says_the_same(net, path, form):
    """A load that changes nothing leaves no change behind."""
    rows = list(csv.reader(io.StringIO(FILES[path], newline="")))
    order = list(range(len(rows[0])))
    random.Random(path).shuffle(order)
    changed = {
        "as it is": FILES[path],
        "CRLF": written(rows, lineterminator="\r\n"),
        "BOM": "\ufeff" + FILES[path],
        "semicolons": written(rows, delimiter=";"),
        "quoted": written(rows, quoting=csv.QUOTE_ALL),
        "shuffled": written([[row[i] for i in order] for row in rows]),
        "blank lines": FILES[path] + "\n\n" + "," * (len(rows[0]) - 1) + "\n",
    }[form]
    before = net.admin.get("/v1/reference"), len(net.admin.items("/v1/changes"))
    answer = loaded(net.admin, path, changed)
    assert sum(answer.values()) == len(rows) - 1 and answer.keys() == COUNTS.keys()
    assert (net.admin.get("/v1/reference"), len(net.admin.items("/v1/changes"))) == before


def written(rows, **how):
    text = io.StringIO()
    csv.writer(text, **{"lineterminator": "\n", **how}).writerows(rows)
    return text.getvalue()


def test_optional_columns_may_be_missing_and_an_empty_file_changes_nothing(net):
    assert loaded(net.admin, "/v1/participants", "participant,name\n") == COUNTS
    taken = loaded(net.admin, "/v1/participants", "participant,name\nheron,Heron", "?dry_run=true&why=new")
    changes = taken.pop("changes")
    assert taken == {**COUNTS, "participants": 1, "more_changes": 0}
    assert {"of": "participant", "name": "heron", "member": "name", "to": "Heron"} in changes
    assert net.admin.send("GET", "/v1/participants/heron").status == 404


PERSON = "participant,name,bank_account.iban,tax_registered\n"
SITE = "site,scheme,participant,name,kind,opened_on,latitude,par_stock.cup-300,par_stock.cup-7\n"
FAULTY = {
    "nothing": ("/v1/participants", b"", [("", "not_csv")]),
    "a blank header": (
        "/v1/participants",
        b"\n",
        [("/1/1", "member_unknown"), ("/1/participant", "member_missing"), ("/1/name", "member_missing")],
    ),
    "an unknown column": (
        "/v1/participants",
        "participant,name,colour,größe\n",
        [("/1/colour", "member_unknown"), ("/1/4", "member_unknown")],
    ),
    "a repeated column": ("/v1/participants", "participant,name,bic,name\n", [("/1/name", "not_csv")]),
    "a missing column": (
        "/v1/sites",
        "site,scheme,participant\n",
        [("/1/name", "member_missing"), ("/1/kind", "member_missing"), ("/1/opened_on", "member_missing")],
    ),
    "columns that are parts of nothing": (
        "/v1/sites",
        "site,scheme,participant,name,kind,opened_on,par_stock,par_stock.Cup,par_stock.,name.iban,.,site.\n",
        [
            (f"/1/{name}", "member_unknown")
            for name in ("par_stock", "par_stock.Cup", "par_stock.", "name.iban", ".", "site.")
        ],
    ),
    "objects without their part": (
        "/v1/participants",
        "participant,name,bank_account,bank_account.colour,mandate\n",
        [(f"/1/{name}", "member_unknown") for name in ("bank_account", "bank_account.colour", "mandate")],
    ),
    "too many columns": ("/v1/participants", "participant,name" + "," * 63 + "\n", [("/1", "too_many")]),
    "a header that is no CSV": (
        "/v1/participants",
        b'participant,na\xffme,b"ic,"name"x\n',
        [("/1/2", "not_csv"), ("/1/3", "not_csv"), ("/1/4", "not_csv"), ("/1/name", "member_missing")],
    ),
    "cells of the wrong form, each named": (
        "/v1/sites",
        SITE + "Anchor,tern-bay,hearth,A,kiosk,1.4.2025,N,ten,\n\n,tern-bay,hearth,,cafe,2025-04-01,91,0,1\n",
        [
            ("/2/site", "bad_format"),
            ("/2/kind", "value_unknown"),
            ("/2/opened_on", "bad_format"),
            ("/2/latitude", "wrong_type"),
            ("/2/par_stock.cup-300", "wrong_type"),
            ("/4/latitude", "out_of_range"),
            ("/4/par_stock.cup-300", "out_of_range"),
            ("/4/site", "member_missing"),
            ("/4/name", "member_missing"),
            ("/4/par_stock.cup-7", "cup_type_unknown"),
        ],
    ),
    "faults of the CSV and of cells at once": (
        "/v1/participants",
        PERSON.encode()
        + b'a,"A\n\xe6",,\nb,B\n"c",C,,perhaps\nd,D"D,,\ne,"E"E,,\nf,F\0,,\n'
        + b"g,"
        + b"x" * 1001
        + b",,\n"
        + b'h,H,,true,\ni,I\r,,\nj,"J,,\n',
        [
            ("/2/name", "not_csv"),
            ("/4", "not_csv"),
            ("/5/tax_registered", "wrong_type"),
            ("/6/name", "not_csv"),
            ("/7/name", "not_csv"),
            ("/8/name", "not_csv"),
            ("/9/name", "too_long"),
            ("/10", "not_csv"),
            ("/11/name", "not_csv"),
            ("/12", "not_csv"),
        ],
    ),
    "the shape and the rules at once": (
        "/v1/participants",
        PERSON + f"a,A,{IBAN[:-1]}1,\npool,P,,\na,Again,,\n" + f'"b","B\n\nB",{IBAN},\nc,C,nl12,\n',
        [
            ("/2/bank_account.iban", "bad_format"),
            ("/3/participant", "value_unknown"),
            ("/4", "name_taken"),
            ("/8/bank_account.iban", "bad_format"),
        ],
    ),
    "the CSV, the shape and the rules at once": (
        "/v1/sites",
        SITE.encode()
        + b"fog,nowhere,hearth,N,kiosk,2025-04-01,,,1\n"
        + b"mist,tern-bay,nobody,N,cafe,2025-04-01,,,\n"
        + b"rain,nowhere,hearth,N\xe6,cafe,2025-04-01,,,1\n"
        + b"hail,tern-bay,hearth\n"
        + b'snow,"tern"-bay,nobody,,cafe,2025-04-01,,,"\n',
        [
            ("/2/kind", "value_unknown"),
            ("/2/scheme", "scheme_unknown"),
            ("/2/par_stock.cup-7", "cup_type_unknown"),
            ("/3/participant", "participant_unknown"),
            ("/4/name", "not_csv"),
            ("/4/scheme", "scheme_unknown"),
            ("/4/par_stock.cup-7", "cup_type_unknown"),
            ("/5", "not_csv"),
            ("/6/scheme", "not_csv"),
            ("/6/par_stock.cup-7", "not_csv"),
            ("/6/name", "member_missing"),
            ("/6/participant", "participant_unknown"),
            ("/6/par_stock.cup-7", "cup_type_unknown"),
        ],
    ),
    "rules over reference data": (
        "/v1/participants",
        PERSON + f'"b","B\n\nB",,\na,A,{IBAN[:-1]}1,\npool,P,,\na,Again,,\n',
        [("/5/bank_account.iban", "bad_format"), ("/6/participant", "value_unknown"), ("/7", "name_taken")],
    ),
    "an account without its bank": (
        "/v1/participants",
        "participant,name,bank_account.account\na,A,1\n",
        [("/2/bank_account.bank_code", "member_missing")],
    ),
    "rules over sites": (
        "/v1/sites",
        SITE + "nook,fog,nobody,N,cafe,2025-04-01,,,1\n",
        [
            ("/2/scheme", "scheme_unknown"),
            ("/2/participant", "participant_unknown"),
            ("/2/par_stock.cup-7", "cup_type_unknown"),
        ],
    ),
    "rules over refund values": (
        "/v1/schemes/tern-bay/refund-values",
        f"effective_date,amount,cup_type\n{FIRST + 40 * DAY},2.5,cup-300\n{FIRST + 40 * DAY},2.50,cup-7\n"
        f"{FIRST + 40 * DAY},2.50,cup-300\n",
        [("/2/amount", "amount_decimals"), ("/3/cup_type", "cup_type_unknown"), ("/4", "name_taken")],
    ),
    "a decimal comma": (
        "/v1/schemes/tern-bay/refund-values",
        f"cup_type;effective_date;amount\ncup-300;{FIRST + 40 * DAY};2,50\n",
        [("/2/amount", "bad_format")],
    ),
    "numbers that JSON has not": (
        "/v1/cup-types",
        "cup_type,name,volume_ml,mass_g\na,A,0300,8.0\nb,B,+3, 8\nc,C,1e2,99999999999999999999\nd,D,NaN,0x8\n",
        [(f"/{line}/{column}", "wrong_type") for line in range(2, 6) for column in ("volume_ml", "mass_g")],
    ),
}


@pytest.mark.parametrize("name", FAULTY)
def test_all_faults_at_once(net, name):
    path, text, expected = FAULTY[name]
    before = net.admin.get("/v1/reference")
    answer = load(net.admin, path, text)
    assert answer.status >= 400 and faults_of(answer) == expected, answer.json
    assert answer.json["reason"] == expected[0][1] and answer.json["detail"] == answer.json["errors"][0]["detail"]
    assert net.admin.get("/v1/reference") == before


def test_the_unknown_column_is_answered_with_those_that_there_are(net):
    [fault] = load(net.admin, "/v1/sites", SITE.replace("latitude", "breadth")).json["errors"]
    assert fault["detail"] == (
        "line 1, column breadth: there is no such column, but there are site scheme participant name kind opened_on"
        " closed_on latitude longitude gln par_stock.CODE count_days"
    )


def test_other_bodies_and_schemes_are_refused(net):
    admin = net.admin
    for path in FILES:
        for headers in ({}, {"Content-Type": "text/plain"}, {**CSV, "Content-Encoding": "gzip"}):
            answer = admin.send("POST", path, b"[]", headers)
            assert (answer.status, answer.json["reason"]) == (415, "unsupported_media_type")
    assert load(admin, "/v1/participants", PERSON, "?why=" + "x" * 201).json["reason"] == "parameter_invalid"
    assert admin.send("POST", "/v1/reference", PERSON.encode(), CSV).status == 415
    answer = load(admin, "/v1/schemes/fog/refund-values", VALUES)
    assert (answer.status, answer.json["reason"]) == (404, "not_found")
    assert (
        admin.send("POST", "/v1/participants", PERSON.encode(), {"Content-Type": "TEXT/CSV; charset=UTF-8"}).status
        == 200
    )


def test_too_many_lines(net):
    rows = [[f"p{i}", "P"] for i in range(50_001)]
    answer = load(net.admin, "/v1/participants", written([["participant", "name"], *rows]), "?dry_run=true")
    assert (answer.status, answer.json["reason"]) == (422, "too_many") and "50000" in answer.json["detail"]
    taken = loaded(net.admin, "/v1/participants", written([["participant", "name"], *rows[1:]]), "?dry_run=true")
    assert taken["participants"] == 50_000


def test_another_bank_account_takes_two_people(net):
    """The proposal is the JSON document that the lines became."""
    ann = net.client(net.create_key("ann", "accountant", holder="Ann"))
    changed = PARTICIPANTS.replace(IBAN, OTHER_IBAN)
    dry = load(net.admin, "/v1/participants", changed, "?dry_run=true")
    assert dry.status == 202 and dry.json["dry_run"] and net.admin.items("/v1/proposals") == []
    proposed = load(net.admin, "/v1/participants", changed, "?why=new+bank")
    assert proposed.status == 202 and proposed.json["status"] == "proposed"
    assert net.admin.get("/v1/participants/miller")["bank_account"] == {"iban": IBAN}
    net.admin.refused("POST", f"/v1/proposals/{proposed.json['proposal']}/approve", None, 409, "second_key_needed")
    assert ann.send("POST", f"/v1/proposals/{proposed.json['proposal']}/approve").status == 200
    assert net.admin.get("/v1/participants/miller")["bank_account"] == {"iban": OTHER_IBAN}


TEMPLATES = Path(__file__).parents[2] / "deploy" / "templates"
ROUTES = {
    "cup-types.csv": "/v1/cup-types",
    "participants.csv": "/v1/participants",
    "sites.csv": "/v1/sites",
    "refund-values.csv": "/v1/schemes/gannet-point/refund-values",
}


def columns_of(net, path):
    """The columns that the document describes, with those that are required."""
    template = path.replace("gannet-point", "{scheme}")
    content = net.contract.document["paths"][template]["post"]["requestBody"]["content"]
    assert list(content) == ["text/csv"]
    return re.findall(r"^- `([^`]+)`(, required)?: ", content["text/csv"]["schema"]["description"], re.M)


def test_the_templates(service):
    """Each filled one is loaded, each empty one has all columns and changes nothing."""
    admin = service.admin
    loaded(admin, "/v1/cup-types", (TEMPLATES / "gannet-point" / "cup-types.csv").read_bytes())
    scheme = (TEMPLATES / "gannet-point" / "scheme.json").read_text()
    admin.load(json.loads(scheme.replace("2026-12-01", str(date.today() - DAY))))
    for name, path in ROUTES.items():
        filled = (TEMPLATES / "gannet-point" / name).read_bytes()
        assert sum(loaded(admin, path, filled).values()) == filled.count(b"\n") - 1
        empty = (TEMPLATES / name).read_text()
        assert loaded(admin, path, empty) == COUNTS
        assert empty.strip().split(",") == [c for c, _ in columns_of(service, path) if not c.endswith(".CODE")]
        required = [column for column, required in columns_of(service, path) if required]
        assert loaded(admin, path, ",".join(required)) == COUNTS
        for column in required:
            pointed = faults_of(load(admin, path, ",".join(c for c in required if c != column)))
            assert ("/1/" + column, "member_missing") in pointed
    opening = "/v1/schemes/gannet-point/opening"
    empty = (TEMPLATES / "opening.csv").read_text()
    assert empty.strip().split(",") == [c for c, _ in columns_of(service, opening)]
    assert faults_of(load(admin, opening, empty)) == [("", "member_missing")] * 2
    dry = load(admin, opening, (TEMPLATES / "gannet-point" / "opening.csv").read_bytes(), "?dry_run=true")
    assert dry.status == 200 and dry.json["status"] == "proposed" and dry.json["dry_run"], dry.body
    assert {*ROUTES, "opening.csv"} == {file.name for file in TEMPLATES.glob("*.csv")}
    assert {*ROUTES, "opening.csv", "scheme.json"} == {file.name for file in (TEMPLATES / "gannet-point").iterdir()}
    assert len(admin.items("/v1/sites")) == 5 and len(admin.items("/v1/participants")) == 3
    assert len(admin.items("/v1/schemes/gannet-point/refund-values")) == 4
    admin.assert_holds()


PIECES = [
    "a",
    "Æ",
    "🍵",
    " ",
    ",",
    ";",
    '"',
    '""',
    "\n",
    "\r\n",
    "\t",
    "'",
    "=1+1",
    "\\.",
    "\\N",
    "NULL",
    "-",
    "|",
    "\u2028",
]


def random_rows(chosen):
    def text():
        return "".join(chosen.choices(PIECES, k=chosen.randint(1, 12)))

    return [[f"r-{i}", text(), chosen.choice(["", str(chosen.randint(-90, 90))]), text()[:30]] for i in range(200)]


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("how", [{}, {"lineterminator": "\r\n"}, {"delimiter": ";"}, {"quoting": csv.QUOTE_ALL}])
def test_copy_reads_the_same_cells(net, seed, how):
    """Names of 200 participants, of pieces that tempt a reader. COPY takes only the end of the data as \\. on a line by
    itself, and CRLF outside quotes either on all lines or on none."""
    chosen = random.Random(f"{seed} {how}")
    rows = [[code, name] for code, name, _, _ in random_rows(chosen) if name != "\\."]
    file = written([["participant", "name"], *rows], **how)
    connection = psycopg2.connect(net.database.owner_dsn)
    with connection, connection.cursor() as cursor:
        cursor.execute("CREATE TEMPORARY TABLE cells (line serial, participant text, name text)")
        cursor.copy_expert(
            f"COPY cells (participant, name) FROM STDIN (FORMAT csv, HEADER, DELIMITER '{how.get('delimiter', ',')}')",
            io.StringIO(file, newline=""),
        )
        cursor.execute("SELECT participant, name FROM cells ORDER BY line")
        copied = cursor.fetchall()
    connection.close()
    assert loaded(net.admin, "/v1/participants", file)["participants"] == len(rows) == len(copied)
    read = {p["participant"]: p["name"] for p in net.admin.items("/v1/participants", limit=1000)}
    assert [(code, read[code]) for code, _ in copied] == copied
    assert copied == [tuple(row) for row in rows]


def test_any_bytes_are_answered(net):
    """Files that were cut, or have bytes changed, are taken or refused, but never break anything."""
    chosen = random.Random(4180)
    for _ in range(150):
        path = chosen.choice(list(FILES))
        text = bytearray(FILES[path].encode())
        for _ in range(chosen.randint(1, 4)):
            text[chosen.randrange(len(text))] = chosen.choice(b'\0\n\r",;\xff\xc3a1.-')
        answer = load(net.admin, path, bytes(text[: chosen.randint(0, 2 * len(text))]), "?dry_run=true")
        assert answer.status in (200, 202, 400, 409, 422), answer.body
        if answer.status >= 400:
            faults_of(answer)
