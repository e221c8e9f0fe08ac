# SPDX-License-Identifier: ISC
"""Forms with a file, as browsers send them (RFC 7578): statements of the bank, and spreadsheets of reference data."""
import pathlib
from datetime import timedelta
from decimal import Decimal

import pytest

import bank
from browser import Browser, Form
from network import WORKED_DAY
from office import SETTLEMENT, banked_office, form, forms_of, led_to, page, shown

TOP = pathlib.Path(__file__).resolve().parents[2]
BOUNDARY = "----FormBoundary7MA4YWxkTrZu0gW"


@pytest.fixture
def office(service):
    return banked_office(service)


def part(name, value, filename=None):
    shown_as = f'; filename="{filename}"\r\nContent-Type: text/xml' if filename else ""
    head = f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"{shown_as}\r\n\r\n'
    return head.encode() + (value if isinstance(value, bytes) else value.encode()) + b"\r\n"


def multipart(fields, file):
    parts = [part(k, v) for k, v in fields.items() if k != "file"]
    return b"".join([*parts, part("file", file, "statement.xml"), f"--{BOUNDARY}--\r\n".encode()])


def upload(filled, file, body=None, content_type=f"multipart/form-data; boundary={BOUNDARY}", **button):
    """Sends a form with a file."""
    browser: Browser = filled.browser
    origin = {"Origin": f"http://{browser.host}", "Sec_Fetch_Site": "same-origin", "Content_Type": content_type}
    body = body if body is not None else multipart({**filled.fields, **button}, file)
    return browser.send("POST", filled.action, body, **origin)


def statement(name="S-1", amount="20.00"):
    text = bank.statement(name, "00001000", "CAD", str(WORKED_DAY + timedelta(days=2)), [bank.Booking(Decimal(amount))])
    return text if isinstance(text, bytes) else text.encode()


def the_form(office):
    [link] = [f for f in forms_of(page(office.ann, "/v1/bank-statements?scheme=tern-bay")) if "Statement" in f]
    return form(office.ann, link)


def test_a_statement_is_uploaded_once(office):
    filled = the_form(office)
    assert filled.element.get("enctype") == "multipart/form-data" and filled.fields["?scheme"] == "tern-bay"
    text = statement()
    assert [led_to(upload(filled, text)) for _ in range(2)] == ["/v1/bank-statements?scheme=tern-bay"] * 2
    assert len(office.admin.items("/v1/bank-statements", scheme="tern-bay")) == 1
    [line] = office.admin.items("/v1/bank-lines", scheme="tern-bay", open="true")
    assert line["amount"] == "20.00"
    office.admin.assert_holds("tern-bay")


def test_a_statement_that_is_refused(office):
    assert "Nothing was recorded" in shown(upload(the_form(office), "<Document/>"), 422).source
    assert "Nothing was recorded" in shown(upload(the_form(office), "no xml"), 400).source
    tried = shown(upload(the_form(office), statement(), **{"try": "true"}), 200)
    assert "Nothing was recorded yet" in tried.source
    assert office.admin.items("/v1/bank-statements", scheme="tern-bay") == []


BROKEN = {
    "no file": lambda whole: b"",
    "no last boundary": lambda whole: whole[: whole.rindex(b"--" + BOUNDARY.encode())],
    "a preamble": lambda whole: b"preamble\r\n" + whole,
    "an epilogue": lambda whole: whole + b"more",
    "bare line feeds": lambda whole: whole.replace(b"\r\n", b"\n"),
    "no name": lambda whole: whole.replace(b'name="once"', b""),
    "two names": lambda whole: whole.replace(b"\r\n\r\n", b'\r\nContent-Disposition: form-data; name="x"\r\n\r\n', 1),
    "a name that does not end": lambda whole: whole.replace(b'name="once"', b'name="once'),
    "a NUL": lambda whole: whole.replace(b"<Document", b"\0<Document"),
    "no UTF-8": lambda whole: whole.replace(b"<Document", b"\xff<Document"),
    "an endless head": lambda whole: whole.replace(b"Content-Type:", b"X-More: " + b"x" * 2000 + b"\r\nContent-Type:"),
    "too many parts": lambda whole: part("x", "y") * 600 + whole,
}


@pytest.mark.parametrize("what", BROKEN)
def test_bodies_that_no_browser_sends(office, what):
    filled = the_form(office)
    answer = upload(filled, None, body=BROKEN[what](multipart(filled.fields, statement())))
    assert answer.status == 422, (answer.status, answer.text[:500])
    assert office.admin.items("/v1/bank-statements", scheme="tern-bay") == []


@pytest.mark.parametrize(
    "parameter", ["", "; boundary=", '; boundary="x', "; boundary=" + "x" * 71, "; boundary=a b", "; x=1"]
)
def test_boundaries_that_are_none(office, parameter):
    """RFC 2046 section 5.1.1 says what a boundary may be."""
    filled = the_form(office)
    assert upload(filled, statement(), content_type="multipart/form-data" + parameter).status == 422
    assert office.admin.items("/v1/bank-statements", scheme="tern-bay") == []


def test_a_file_that_is_too_large(office):
    assert upload(the_form(office), b"x" * 1_100_000).status == 413


def test_a_file_from_another_site(office):
    filled = the_form(office)
    foreign = {"Origin": "https://elsewhere.example", "Sec_Fetch_Site": "cross-site"}
    body = multipart(filled.fields, statement())
    answer = office.ann.send(
        "POST", filled.action, body, Content_Type=f"multipart/form-data; boundary={BOUNDARY}", **foreign
    )
    assert answer.status == 403
    assert office.admin.items("/v1/bank-statements", scheme="tern-bay") == []


def test_a_spreadsheet_is_uploaded(office):
    """Its faults name line and column."""
    [link] = [f for f in forms_of(page(office.boss, "/v1/cup-types")) if "loadCupTypes" in f]
    again = shown(upload(form(office.boss, link), "cup_type,name,volume_ml,mass_g\ncup-600,Bucket,much,90\n"), 422)
    assert "/2/volume_ml" in again.root.text and "beyond this list" not in again.root.text
    many = "".join(f"cup-{n},Bucket,much,90\n" for n in range(60))
    again = shown(upload(Form(office.boss, again, "/forms/"), "cup_type,name,volume_ml,mass_g\n" + many), 422)
    assert "/51/volume_ml" in again.root.text and "Faults beyond this list: 10" in again.root.text
    sent = Form(office.boss, again, "/forms/")
    sheet = "cup_type,name,volume_ml,mass_g\ncup-600,Bucket,600,90\n"
    assert [led_to(upload(sent, sheet)) for _ in range(2)] == ["/v1/cup-types"] * 2
    assert office.admin.get("/v1/cup-types/cup-600")["volume_ml"] == 600


def test_a_payment_file_leads_to_the_list_that_has_it(office):
    assert office.service.client(office.keys["ann"]).send("POST", f"{SETTLEMENT}/approve").status == 200
    [make] = [f for f in forms_of(page(office.ben, SETTLEMENT)) if "createPaymentFile" in f]
    listed = led_to(form(office.ben, make).fill({"/type": "payouts"}).send())
    assert listed == f"{SETTLEMENT}/files" and listed in page(office.ben, SETTLEMENT).links
    [file] = office.admin.items(listed)
    assert file["location"] in page(office.ben, listed).links
    assert office.ben.send("GET", file["location"]).headers["Content-Type"] == "application/xml"


# The opening of a scheme ----------------------------------------------------------------------------------------------
SHEET = """what,site,to,dispatch,cup_type,quantity,condition,participant,amount
stock,gull,,,cup-300,40,,,
with_customers,,,,cup-300,10,,,
bank,,,,,,,,25.00
"""


def test_an_opening_is_uploaded(office):
    """From the list of openings, by an empty file that the form offers. Another person approves it."""
    document = office.admin.get("/v1/reference")
    new = {**document["schemes"][0], "scheme": "skerry"}
    new.pop("operator")
    office.admin.load({"schemes": [new], "sites": [{**document["sites"][0], "site": "gull", "scheme": "skerry"}]})
    [link] = [f for f in forms_of(page(office.ann, "/v1/openings?scheme=skerry")) if "loadOpening" in f]
    seen = page(office.ann, link)
    [template] = [a for a in seen.all("a") if a.get("href").startswith("/templates/")]
    empty = office.ann.send("GET", template.get("href"))
    assert empty.headers["Content-Type"] == "text/csv; charset=utf-8"
    assert empty.text.split() == [SHEET.split()[0]] and template.get("download").endswith(".csv")
    columns = {row["Column"]: row["Required"] for row in seen.table("Columns of the file")}
    assert list(columns) == empty.text.strip().split(",") and columns["what"] == "yes" and columns["site"] == ""
    wrong = shown(upload(Form(office.ann, seen, "/forms/"), SHEET.replace("40", "many")), 422)
    assert "/2/quantity" in wrong.root.text
    wrong = shown(upload(Form(office.ann, wrong, "/forms/"), SHEET.replace("bank", "stock")), 422)
    assert "/4/site" in wrong.root.text
    tried = shown(upload(Form(office.ann, wrong, "/forms/"), SHEET, **{"try": "true"}), 200)
    assert office.admin.items("/v1/openings", scheme="skerry") == []
    targets = {led_to(upload(Form(office.ann, tried, "/forms/"), SHEET)) for _ in range(2)}
    [opening] = office.admin.items("/v1/openings", scheme="skerry")
    assert targets == {f"/v1/openings/{opening['event_id']}?scheme=skerry"}
    [approve] = [f for f in forms_of(page(office.ben, *targets)) if "approveOpening" in f]
    led_to(form(office.ben, approve).send())
    office.admin.assert_holds("skerry")


def test_templates_are_those_of_the_repository(office):
    """The same columns as in deploy/templates, except that these leave out what a new network does not need."""
    for operation, name in (
        ("loadCupTypes", "cup-types"),
        ("loadParticipants", "participants"),
        ("loadSites", "sites"),
        ("loadRefundValues", "refund-values"),
    ):
        head = (TOP / "deploy/templates" / f"{name}.csv").read_text().strip().split(",")
        assert set(head) <= set(office.boss.send("GET", f"/templates/{operation}").text.strip().split(",")), name
    assert office.ann.send("GET", "/templates/loadSites").status == 403
    assert office.boss.send("GET", "/templates/putSite").status == 404
    assert office.boss.send("GET", "/templates/postBankStatement").status == 404
