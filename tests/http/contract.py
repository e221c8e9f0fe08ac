# SPDX-License-Identifier: ISC
"""Every answer the tests see is held against the service's own /openapi.json, so that document, router and tests agree."""
import json
import re

from jsonschema import Draft202012Validator, FormatChecker, RefResolver

METHODS = ("get", "put", "post", "delete", "patch")


def _refuse_constant(text):
    raise AssertionError(f"{text} in an answer")


def _float(text):
    """Amounts and rates are strings; the only fractions in an answer are coordinates, which have no exponent."""
    assert re.fullmatch(r"-?\d{1,3}\.\d+", text), f"number {text} in an answer"
    return float(text)


def parse(body):
    return json.loads(body.decode("utf-8", "strict"), parse_constant=_refuse_constant, parse_float=_float)


class Contract:
    def __init__(self, document):
        assert document["openapi"].startswith("3.1")
        self.document = document
        self.routes = [(re.compile(re.sub(r"\\\{\w+\\\}", "[^/]+", re.escape(path)) + "$"), path, item)
                       for path, item in document["paths"].items()]
        self.routes.sort(key=lambda route: route[1].count("{"))  # a literal segment wins over a parameter
        self.resolver = RefResolver("", document)
        self.validators = {}
        self.reasons = self._enumerated_reasons()

    def operations(self):
        return [(method.upper(), path) for _, path, item in self.routes for method in item if method in METHODS]

    def _enumerated_reasons(self):
        """The enum of the member `reason` in the schemas of problems: those that also say whether it is `retryable`."""
        found = set()

        def walk(node):
            for child in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
                if isinstance(child, dict) and {"reason", "retryable"} <= child.keys():
                    found.update(self.resolve(child["reason"]).get("enum", []))
                walk(child)

        walk(self.document.get("components", {}))
        assert found, "/openapi.json enumerates no reasons"
        return found

    def resolve(self, node):
        while "$ref" in node:
            node = self.resolver.resolve(node["$ref"])[1]
        return node

    def _validator(self, key, node):
        if key not in self.validators:
            Draft202012Validator.check_schema(node)
            self.validators[key] = Draft202012Validator(node, resolver=self.resolver, format_checker=FormatChecker())
        return self.validators[key]

    def check(self, method, target, answer):
        """Raises AssertionError where an answer is not one that the document promises."""
        where = f"{method} {target} -> {answer.status}"
        assert answer.headers.get("X-Request-Id"), f"{where}: no X-Request-Id"
        media = answer.headers.get("Content-Type", "").partition(";")[0]
        if answer.status >= 400:
            self._check_problem(where, media, answer)
        path = target.partition("?")[0]
        template, item = next(((t, item) for pattern, t, item in self.routes if pattern.match(path)), (None, {}))
        operation = item.get(method.lower())
        if not operation:
            assert answer.status in (400, 401, 404, 405, 413, 501), f"{where}: not a route of /openapi.json"
            return
        responses = operation["responses"]
        assert str(answer.status) in responses, f"{where}: {method} lists only {sorted(responses)}: {answer.body[:500]}"
        content = self.resolve(responses[str(answer.status)]).get("content", {})
        if not content:
            assert not answer.body, f"{where}: a body that the document does not have"
            return
        assert media in content, f"{where}: {media} is not among {list(content)}"
        schema = content[media].get("schema")
        if media.endswith("json") and media != "application/x-ndjson" and schema:
            validator = self._validator((method, template, answer.status, media), schema)
            problems = list(validator.iter_errors(answer.json))
            assert not problems, f"{where}: " + "; ".join(f"{p.json_path}: {p.message}"[:300] for p in problems[:5])

    def _check_problem(self, where, media, answer):
        if media == "text/html":  # for people; what it says is tested in test_html.py
            return self._check_headers(where, answer)
        assert media == "application/problem+json", f"{where}: {media}: {answer.body[:500]}"
        problem = answer.json
        missing = {"type", "title", "status", "detail", "reason", "retryable"} - problem.keys()
        assert not missing, f"{where}: problem without {missing}"
        assert problem["status"] == answer.status, where
        for fault in [problem, *problem.get("errors", [])]:
            assert fault["reason"] in self.reasons, f"{where}: reason {fault['reason']} is not enumerated"
        self._check_headers(where, answer)

    def _check_headers(self, where, answer):
        if answer.status in (429, 503):
            assert "Retry-After" in answer.headers, where
        if answer.status == 405:
            assert "Allow" in answer.headers, where
        if answer.status == 401:
            assert "WWW-Authenticate" in answer.headers, where
