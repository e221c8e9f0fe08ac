# SPDX-License-Identifier: ISC
"""Finds the changes of a new OpenAPI document that break clients of an old document, and names the place of each.

The service must still accept everything that a client sends, so a request may only become wider: a parameter, member,
word or variant may be added. None may be removed, and nothing optional may become required. A client must still get
answers that it expects, so an answer may only become narrower. But words of enumerations, variants and optional
members may be added, because a client ignores things that it does not know. These additions are notes. Names that
generated code uses (operationId, schemas) must stay."""
import json

METHODS = ("get", "put", "post", "delete", "patch")
# 1: a larger value is narrower
BOUNDS = {"minimum": 1, "minLength": 1, "minItems": 1, "maximum": -1, "maxLength": -1, "maxItems": -1}


class Comparison:
    """`broken` and `noted` are lists of lines."""

    def __init__(self, old, new):
        self.old, self.new, self.broken, self.noted, self.seen = old, new, [], [], set()
        self._names()
        for path, item in old["paths"].items():
            if path not in new["paths"]:
                self.broken.append(f"{path} is gone")
                continue
            for method in METHODS:
                if method in item:
                    self._operation(f"{method.upper()} {path}", item[method], new["paths"][path].get(method))

    def _names(self):
        for name in self.old["components"]["schemas"]:
            if name not in self.new["components"]["schemas"]:
                self.broken.append(f"schema {name} is gone")

    def _operation(self, where, old, new):
        if new is None:
            self.broken.append(f"{where} is gone")
            return
        if old.get("operationId") != new.get("operationId"):
            self.broken.append(f"{where}: operationId {old.get('operationId')} became {new.get('operationId')}")
        if self._is_public(self.old, old) and not self._is_public(self.new, new):
            self.broken.append(f"{where} needs a key now")
        self._parameters(where, old.get("parameters", []), new.get("parameters", []))
        self._body(where, old.get("requestBody"), new.get("requestBody"))
        self._responses(where, old["responses"], new["responses"])

    @staticmethod
    def _is_public(document, operation):
        return operation.get("security", document.get("security")) == []

    def _parameters(self, where, old, new):
        named = {(p["in"], p["name"]): p for p in new}
        for before in old:
            place = f"{where}: parameter {before['name']}"
            after = named.pop((before["in"], before["name"]), None)
            if after is None:
                self.broken.append(f"{place} is gone")
                continue
            if after.get("required") and not before.get("required"):
                self.broken.append(f"{place} is required now")
            self._schema(place, before["schema"], after["schema"], True)
        for (_, name), after in named.items():
            if after.get("required"):
                self.broken.append(f"{where}: parameter {name} is new and required")

    def _body(self, where, old, new):
        if old is None:
            if new and new.get("required"):
                self.broken.append(f"{where}: a body is required now")
            return
        if new is None:
            self.broken.append(f"{where}: takes no body any more")
            return
        if new.get("required") and not old.get("required"):
            self.broken.append(f"{where}: a body is required now")
        self._content(f"{where}: body", old["content"], new["content"], True)

    def _responses(self, where, old, new):
        for status, before in old.items():
            if status not in new:
                self.broken.append(f"{where}: status {status} is gone")
                continue
            before, after = self._resolve(self.old, before), self._resolve(self.new, new[status])
            place = f"{where}: {status}"
            for name in before.get("headers", {}):
                if name not in after.get("headers", {}):
                    self.broken.append(f"{place}: header {name} is gone")
            self._content(place, before.get("content", {}), after.get("content", {}), False)
        for status in new.keys() - old.keys():
            self.noted.append(f"{where}: status {status} is new")

    def _content(self, where, old, new, sent):
        for media, before in old.items():
            if media not in new:
                self.broken.append(f"{where}: {media} is gone")
            elif "schema" in before:
                self._schema(f"{where}: {media}", before["schema"], new[media].get("schema", {}), sent)

    # Schemas ----------------------------------------------------------------------------------------------------------
    @staticmethod
    def _resolve(document, node):
        while "$ref" in node:
            parts = node["$ref"].removeprefix("#/").split("/")
            node = document
            for part in parts:
                node = node[part]
        return node

    def _flat(self, document, node):
        """The schema without references, and with the parts of allOf put together."""
        node = self._resolve(document, node)
        if "allOf" not in node:
            return node
        whole = {**node, "properties": dict(node.get("properties", {})), "required": list(node.get("required", []))}
        for part in whole.pop("allOf"):
            part = self._flat(document, part)
            whole["properties"].update(part.get("properties", {}))
            whole["required"] += part.get("required", [])
            whole.update({k: v for k, v in part.items() if k not in ("properties", "required")})
        return whole

    def _schema(self, where, old, new, sent):
        """`sent`: clients send it; otherwise the service does. A pair of schemas is compared once in each direction,
        because a schema may contain itself."""
        pair = (json.dumps(old, sort_keys=True), json.dumps(new, sort_keys=True), sent)
        if pair in self.seen and "$ref" in old:
            return
        self.seen.add(pair)
        if not sent and self._is_among(old, new):
            old = {"oneOf": [old]}
        old, new = self._flat(self.old, old), self._flat(self.new, new)
        if "oneOf" in old or "oneOf" in new:
            self._variants(where, old, new, sent)
        self._types(where, old, new, sent)
        self._words(where, old, new, sent)
        self._limits(where, old, new, sent)
        self._members(where, old, new, sent)
        if "items" in old and "items" in new:
            self._schema(f"{where}[]", old["items"], new["items"], sent)
        for key in ("additionalProperties", "contentSchema"):
            if isinstance(old.get(key), dict) and isinstance(new.get(key), dict):
                self._schema(f"{where}/*", old[key], new[key], sent)

    def _is_among(self, old, new):
        """Whether the old schema is one of the new one's variants. Clients ignore the others."""
        variants = self._resolve(self.new, new).get("oneOf", [])
        return "$ref" in old and self._name(old) in map(self._name, variants)

    @staticmethod
    def _name(variant):
        return variant.get("$ref", json.dumps(variant, sort_keys=True)).rpartition("/")[2]

    def _variants(self, where, old, new, sent):
        before = {self._name(v): v for v in old.get("oneOf", [])}
        after = {self._name(v): v for v in new.get("oneOf", [])}
        if not before or not after:
            self.broken.append(f"{where}: is {'a choice' if after else 'no choice'} now")
            return
        for name, variant in before.items():
            if name in after:
                self._schema(f"{where}({name})", variant, after[name], sent)
            elif sent:
                self.broken.append(f"{where}: variant {name[:80]} is gone")
            else:
                self.noted.append(f"{where}: variant {name[:80]} is gone")
        for name in after.keys() - before.keys():
            if not sent:
                self.noted.append(f"{where}: variant {name[:80]} is new")

    @staticmethod
    def _type_set(schema):
        types = schema.get("type")
        types = set(types) if isinstance(types, list) else {types} if types else None
        return types | {"integer"} if types and "number" in types else types

    def _types(self, where, old, new, sent):
        before, after = self._type_set(old), self._type_set(new)
        narrow, wide = (before, after) if sent else (after, before)
        if wide is not None and (narrow is None or not narrow <= wide) and before != after:
            self.broken.append(f"{where}: type {old.get('type')} became {new.get('type')}")

    def _words(self, where, old, new, sent):
        before, after = (
            set(map(json.dumps, s["enum"] if "enum" in s else [s["const"]])) if "enum" in s or "const" in s else None
            for s in (old, new)
        )
        gone = sorted(before - after) if before is not None and after is not None else []
        more = sorted(after - before) if before is not None and after is not None else []
        if sent and (gone or (before is None and after is not None)):
            self.broken.append(f"{where}: no longer takes {', '.join(gone) or 'any value'}")
        if not sent and before is not None and after is None:
            self.broken.append(f"{where}: may be any value now")
        if not sent and more:
            self.noted.append(f"{where}: may be {', '.join(more)} now")

    def _limits(self, where, old, new, sent):
        for bound, sign in BOUNDS.items():
            before, after = old.get(bound), new.get(bound)
            if before == after:
                continue
            narrower = before is None or (after is not None and sign * after > sign * before)
            if narrower == sent:
                self.broken.append(f"{where}: {bound} {before} became {after}")
        for rule in ("pattern", "format", "not"):
            before, after = old.get(rule), new.get(rule)
            if before != after and (after if sent else before) is not None:
                self.broken.append(f"{where}: {rule} {before} became {after}")

    def _members(self, where, old, new, sent):
        before, after = old.get("properties", {}), new.get("properties", {})
        was_required, is_required = set(old.get("required", [])), set(new.get("required", []))
        for name, schema in before.items():
            if name in after:
                self._schema(f"{where}/{name}", schema, after[name], sent)
            else:
                self.broken.append(f"{where}/{name} is gone")
        for name in sorted(is_required - was_required if sent else was_required - is_required):
            if name in after:
                new_one = "" if name in before else "new and "
                self.broken.append(f"{where}/{name} is {new_one + 'required' if sent else 'optional'} now")
        for name in after.keys() - before.keys():
            if not (sent and name in is_required):
                self.noted.append(f"{where}/{name} is new")
