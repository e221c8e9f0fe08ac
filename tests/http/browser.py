# SPDX-License-Identifier: ISC
"""A browser, as far as the service can tell: it keeps a cookie, asks for pages, and says where its requests come
from."""
import http.client
from urllib.parse import urlencode

from harness import PATIENCE_SECONDS

HTML = {"Accept": "text/html,application/xhtml+xml,application/xml;q=0.9,*/*;q=0.8"}
FORM = "application/x-www-form-urlencoded"


class Browser:
    """Keeps one cookie, as a browser does, and tells where its requests come from."""

    def __init__(self, service, source="127.0.0.1"):
        self.service, self.cookie, self.source = service, None, source
        self.host = f"127.0.0.1:{service.port}"

    def send(self, method, target, body=None, **headers):
        connection = http.client.HTTPConnection(
            "127.0.0.1", self.service.port, timeout=PATIENCE_SECONDS, source_address=(self.source, 0)
        )
        headers = {**HTML, **({"Cookie": self.cookie} if self.cookie else {}), **headers}
        connection.request(method, target, body, {k.replace("_", "-"): v for k, v in headers.items() if v is not None})
        answer = connection.getresponse()
        answer.text = answer.read().decode()
        connection.close()
        given = answer.headers["Set-Cookie"]
        if given is not None:
            self.cookie = given.split(";")[0] if "=;" not in given else None
        return answer

    def submit(self, target, fields=(), **headers):
        """Sends a form of the service's own pages."""
        origin = {"Origin": f"http://{self.host}", "Sec_Fetch_Site": "same-origin", "Content_Type": FORM}
        return self.send("POST", target, urlencode(fields), **{**origin, **headers})

    def sign_in(self, name, secret, **more):
        return self.submit("/sign-in", {"name": name, "key": secret, **more})


class Form:
    """A form of a page, as a person fills it in. `having`: fields that tell it from the page's other forms."""

    def __init__(self, browser, page, action, **having):
        self.browser = browser
        forms = [f for f in page.all("form") if (f.get("action") or "").startswith(action)]
        [self.element] = [f for f in forms if having.items() <= self._fields_of(f).items()]
        self.action = self.element.get("action")
        self.fields = self._fields_of(self.element)
        boxes = [c for c in self.element.all("input") if c.get("type") == "checkbox"]
        self.boxes = {c.get("name"): c.get("value") for c in boxes}

    @classmethod
    def _fields_of(cls, element):
        """A box that is not ticked is not sent."""
        controls = [
            c
            for c in element.all("input", "select", "textarea")
            if c.get("type") != "checkbox" or "checked" in c.attributes
        ]
        return {c.get("name"): cls._value(c) for c in controls}

    @staticmethod
    def _value(control):
        if control.tag == "select":
            chosen = [o for o in control.all("option") if "selected" in o.attributes] or list(control.all("option"))[:1]
            return chosen[0].get("value")
        return control.text.removeprefix("\n") if control.tag == "textarea" else control.get("value") or ""

    def fill(self, values):
        for name, value in values.items():
            assert name in self.fields, f"{name} is no field of the form: {sorted(self.fields)}"
            self.fields[name] = value
        return self

    def check(self, *values):
        """Checks the boxes with these values and no other."""
        assert set(values) <= set(self.boxes.values()), self.boxes
        for name, value in self.boxes.items():
            self.fields.pop(name, None)
            if value in values:
                self.fields[name] = value
        return self

    def send(self, **button):
        return self.browser.submit(self.action, {**self.fields, **button})
