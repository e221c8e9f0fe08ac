# SPDX-License-Identifier: ISC
"""Compares every answer that the tests see with the service's own /openapi.json, so that document, router and tests
agree."""
import json
import re

from jsonschema import Draft202012Validator, FormatChecker, RefResolver

METHODS = ("get", "put", "post", "delete", "patch")
# An answer has each of these headers exactly if the document says so. The document says nothing of other headers.
DOCUMENTED_HEADERS = (
    "X-Request-Id",
    "Link",
    "ETag",
    "Location",
    "Content-Disposition",
    "Retry-After",
    "Allow",
    "WWW-Authenticate",
)


def _refuse_constant(text):
    raise AssertionError(f"{text} in an answer")


def _float(text):
    """Amounts and rates are strings. The only fractions in an answer are coordinates, which have no exponent."""
    assert re.fullmatch(r"-?\d{1,3}\.\d+", text), f"number {text} in an answer"
    return float(text)


def parse(body):
    return json.loads(body.decode("utf-8", "strict"), parse_constant=_refuse_constant, parse_float=_float)


class Contract:
    def __init__(self, document):
        assert document["openapi"].startswith("3.1")
        self.document = document
        self.routes = [
            (re.compile(re.sub(r"\\\{\w+\\\}", "[^/]+", re.escape(path)) + "$"), path, item)
            for path, item in document["paths"].items()
        ]
        self.routes.sort(key=lambda route: route[1].count("{"))  # a literal segment wins over a parameter
        self.resolver = RefResolver("", document)
        self.validators = {}
        self.reasons = self._enumerated_reasons()

    def operations(self):
        return [(method.upper(), path) for _, path, item in self.routes for method in item if method in METHODS]

    def _enumerated_reasons(self):
        """The enum of the member `reason` in the schemas of problems. These are the schemas that also have
        `retryable`."""
        found = set()

        def walk(node):
            for child in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
                if isinstance(child, dict) and {"reason", "retryable"} <= child.keys():
                    found.update(self.resolve(child["reason"]).get("enum", []))
                walk(child)

        walk(self.document["components"]["schemas"])
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

    def operation(self, method, target):
        """Template and operation that a request goes to; None if there is none."""
        path = target.partition("?")[0]
        template, item = next(((t, item) for pattern, t, item in self.routes if pattern.match(path)), (None, {}))
        return template, item.get(method.lower())

    def reasons_of(self, operation):
        """{status: the reasons that the operation can give with it}"""
        reasons = {}
        for status, response in operation["responses"].items():
            schema = self.resolve(response).get("content", {}).get("application/problem+json", {}).get("schema")
            if schema:
                reasons[int(status)] = {
                    word
                    for part in schema["allOf"]
                    if "properties" in part
                    for word in part["properties"]["reason"]["enum"]
                }
        return reasons

    def check(self, method, target, answer):
        """Raises AssertionError if the document does not promise the answer."""
        where = f"{method} {target} -> {answer.status}"
        assert answer.headers.get("X-Request-Id"), f"{where}: no X-Request-Id"
        media = answer.headers.get("Content-Type", "").partition(";")[0]
        if answer.status >= 400:
            self._check_problem(where, media, answer)
        template, operation = self.operation(method, target)
        if not operation:
            assert answer.status in (400, 401, 404, 405, 413, 501), f"{where}: not a route of /openapi.json"
            return
        if answer.status == 303 and method == "GET":  # from one page to another; the document lists no pages
            assert answer.headers.get("Location"), f"{where}: leads nowhere"
            return
        responses = operation["responses"]
        assert str(answer.status) in responses, f"{where}: {method} lists only {sorted(responses)}: {answer.body[:500]}"
        response = self.resolve(responses[str(answer.status)])
        self._check_headers(where, media, response, answer)
        content = response.get("content", {})
        if not content:
            assert not answer.body, f"{where}: a body that the document does not have"
            return
        # for people, in place of any read with a key, of any problem and of its type, as info says in words
        if media == "text/html":
            public = operation.get("security") == [] and operation["operationId"] != "getProblemType"
            assert answer.status >= 400 or (method == "GET" and not public), f"{where}: a page"
            return
        assert media in content, f"{where}: {media} is not among {list(content)}"
        if answer.status >= 400:
            self._check_reasons(where, operation, answer)
        self._check_body(where, (method, template, answer.status, media), content[media].get("schema"), answer)

    def _check_body(self, where, key, schema, answer):
        media = key[-1]
        if media.endswith("json") and media != "application/x-ndjson" and schema:
            validator = self._validator(key, schema)
            problems = list(validator.iter_errors(answer.json))
            assert not problems, f"{where}: " + "; ".join(f"{p.json_path}: {p.message}"[:300] for p in problems[:5])
        if media == "application/x-ndjson" and answer.status == 200:
            lines = self._validator(key, schema["contentSchema"])
            for line in answer.body.splitlines():
                problems = list(lines.iter_errors(parse(line)))
                assert not problems, f"{where}: {line[:300]}: {problems[0].message[:300]}"

    def _check_reasons(self, where, operation, answer):
        """The first reason has the answer's status. A fault beside it may have a reason with another status."""
        reasons = self.reasons_of(operation)
        documented = set().union(*reasons.values())
        assert (
            answer.json["reason"] in reasons[answer.status]
        ), f"{where}: the document does not list {answer.json['reason']} for this operation and status"
        for fault in answer.json.get("errors", []):
            assert fault["reason"] in documented, f"{where}: {fault['reason']} is not listed for this operation"

    def _check_problem(self, where, media, answer):
        if media == "text/html":  # for people; test_html.py tests its content
            return
        assert media == "application/problem+json", f"{where}: {media}: {answer.body[:500]}"
        problem = answer.json
        missing = {"type", "title", "status", "detail", "reason", "retryable"} - problem.keys()
        assert not missing, f"{where}: problem without {missing}"
        assert problem["status"] == answer.status, where
        for fault in [problem, *problem.get("errors", [])]:
            assert fault["reason"] in self.reasons, f"{where}: reason {fault['reason']} is not enumerated"
        for status, name in ((429, "Retry-After"), (503, "Retry-After"), (405, "Allow"), (401, "WWW-Authenticate")):
            assert answer.status != status or name in answer.headers, f"{where}: no {name}"

    def _check_headers(self, where, media, response, answer):
        documented = response.get("headers", {})
        for name in DOCUMENTED_HEADERS:
            value, header = answer.headers.get(name), self.resolve(documented.get(name, {}))
            assert value is None or header, f"{where}: the document has no {name}"
            if media == "text/html" and name == "ETag":
                continue  # the ETag of the JSON
            assert value is not None or not header.get("required"), f"{where}: no {name}"
            if value is not None and header["schema"]["type"] == "integer":
                assert value.isdigit() and int(value) >= header["schema"].get("minimum", 0), f"{where}: {name}: {value}"
