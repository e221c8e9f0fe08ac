# SPDX-License-Identifier: ISC
"""A small client of depositd's HTTP interface over a single connection, with a key per call."""

import http.client
import json
import os
import urllib.parse
from pathlib import Path


class Client:
    def __init__(self, url, key_folder):
        self.connection = http.client.HTTPConnection(urllib.parse.urlsplit(url).netloc, timeout=300)
        self.key_folder = Path(key_folder)

    def get(self, path, key="admin", **parameters):
        query = "?" + urllib.parse.urlencode(parameters) if parameters else ""
        return self.request("GET", path + query, key)

    def post(self, path, body=None, key="admin"):
        return self.request("POST", path, key, body)

    def put(self, path, body, key="admin"):
        return self.request("PUT", path, key, body)

    def post_xml(self, path, body, key="admin"):
        return json.loads(self.send("POST", path, key, body, "application/xml"))

    def fetch(self, path, key="admin"):
        """The answer's bytes."""
        return self.send("GET", path, key)

    def request(self, method, path, key, body=None):
        return json.loads(self.send(method, path, key, body and json.dumps(body).encode(), "application/json"))

    def send(self, method, path, key, body=None, media_type=None):
        headers = {"Authorization": "Bearer " + self.secret(key)}
        if body is not None:
            headers["Content-Type"] = media_type
        self.connection.request(method, path, body, headers)
        response = self.connection.getresponse()
        answer = response.read()
        if response.status >= 300:
            raise SystemExit(f"demo: {method} {path} as {key}: {response.status} {answer.decode()}")
        return answer

    def secret(self, name):
        return (self.key_folder / name).read_text().strip()

    def make_key(self, name, role, holder, **reach):
        """The service shows a key once, so the secret is kept."""
        self.keep(name, self.post("/v1/keys", {"name": name, "role": role, "holder": holder, **reach})["key"])

    def renew_key(self, name):
        """The holder takes another secret. Until then the key also stands for its maker, who cannot be the second
        person."""
        self.keep(name, self.post("/v1/me/renew", key=name)["key"])

    def keep(self, name, secret):
        """Stores the secret in a file of the key folder that only its owner can read."""
        file = os.open(self.key_folder / name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        os.write(file, secret.encode())
        os.close(file)
