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
