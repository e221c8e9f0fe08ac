# SPDX-License-Identifier: ISC
"""A page as a browser's parser sees it: the elements, tables, links, headings and forms that the tests ask for."""
import re
import subprocess
from html.parser import HTMLParser

VOID = {"meta", "link", "input", "br", "img", "hr", "line", "rect", "circle", "polyline"}


class Element:
    def __init__(self, tag, attributes, parent):
        self.tag, self.attributes, self.parent, self.children, self.parts = tag, attributes, parent, [], []

    @property
    def text(self):
        """The text as the JSON has it: a dash is its zero, a minus sign is a hyphen, and a column's unit is left
        out, and so is the name beside a code."""
        if self.tag == "data":
            return self.get("value")
        if self.tag == "time":
            return self.get("datetime")
        if self.has_class("unit") or self.has_class("name"):
            return ""
        text = "".join(part if isinstance(part, str) else part.text for part in self.parts)
        return text.rstrip(" ").replace("\u2212", "-") if self.tag == "th" else text.replace("\u2212", "-")

    @property
    def said(self):
        """The text as people read it."""
        return "".join(part if isinstance(part, str) else part.said for part in self.parts)

    def all(self, *tags):
        for child in self.children:
            if not tags or child.tag in tags:
                yield child
            yield from child.all(*tags)

    def first(self, tag):
        return next(self.all(tag), None)

    def get(self, name):
        return self.attributes.get(name)

    def has_class(self, name):
        return name in (self.get("class") or "").split()


class Page(HTMLParser):
    def __init__(self, body):
        super().__init__(convert_charrefs=True)
        self.source = body.decode("utf-8", "strict")
        self.root = self.at = Element("", {}, None)
        self.feed(self.source)
        self.close()
        assert self.at is self.root, f"<{self.at.tag}> is not closed"

    def handle_starttag(self, tag, attributes):
        assert len({name for name, _ in attributes}) == len(attributes), f"<{tag}> has an attribute twice"
        element = Element(tag, dict(attributes), self.at)
        self.at.children.append(element)
        self.at.parts.append(element)
        if tag not in VOID:
            self.at = element

    def handle_startendtag(self, tag, attributes):
        self.handle_starttag(tag, attributes)
        if tag not in VOID:
            self.at = self.at.parent

    def handle_endtag(self, tag):
        assert self.at.tag == tag, f"</{tag}> ends <{self.at.tag}>"
        self.at = self.at.parent

    def handle_data(self, data):
        self.at.parts.append(data)

    def all(self, *tags):
        return list(self.root.all(*tags))

    @property
    def title(self):
        return self.root.first("h1").text

    @property
    def links(self):
        """The targets of its links, in order. The skip link and other forms of the same page are left out."""
        return list(
            dict.fromkeys(
                a.get("href") for a in self.all("a") if a.get("href").startswith("/") and "format=" not in a.get("href")
            )
        )

    def table(self, caption=None):
        """The rows of the table with a caption, or of the first table, each {heading: text of the cell}."""
        for table in self.all("table"):
            if caption is None or table.first("caption").text == caption:
                heads = [th.text for th in table.first("thead").all("th")]
                rows = [
                    [cell.text for cell in row.all("th", "td")] for body in table.all("tbody") for row in body.all("tr")
                ]
                assert all(len(row) == len(heads) for row in rows), "rows as long as the head"
                return [dict(zip(heads, row)) for row in rows]
        raise AssertionError(f"no table {caption!r}")

    def bars(self):
        """The bars of its first picture: the label to the left, which several may share, the series, and the figure."""
        svg, label = self.root.first("svg"), None
        [key] = [ul for ul in self.all("ul") if ul.has_class("key")] or [None]
        series = [li.text for li in key.all("li") if not li.has_class("target")] if key else []
        marks = [e for e in svg.children if e.tag in ("text", "rect") and not e.has_class("name")]
        found = []
        for mark in marks:
            if mark.tag == "rect":
                place = int(mark.get("class").removeprefix("bar s"))
                found.append((label, series[place] if series else None))
            elif mark.has_class("start"):
                label = mark.text
            else:
                found[-1] += (mark.text,)
        return found

    @property
    def facts(self):
        """The terms of all definition lists, with their descriptions."""
        facts = {}
        for dl in self.all("dl"):
            terms, said = list(dl.all("dt")), list(dl.all("dd"))
            assert len(terms) == len(said)
            facts.update({t.text: d.text for t, d in zip(terms, said)})
        return facts


def tidy(body):
    """The faults that HTML Tidy finds in the page. It is older than two attributes, which the HTML Standard has in its
    sections 6.8.7 (autocapitalize) and 6.8.9 (inputmode), and than the element of its section 4.5.13 (data)."""
    body = re.sub(rb'<data value="[^"]*">', b"<span>", body).replace(b"</data>", b"</span>")
    done = subprocess.run(["tidy", "-errors", "-quiet", "-utf8"], input=body, capture_output=True, timeout=600)
    said = done.stderr.decode().strip().splitlines()
    return "\n".join(line for line in said if not line.endswith(('"autocapitalize"', '"inputmode"')))


LABELS = {
    "returned_7": "Back within 7 days",
    "rate_7": "Rate within 7 days",
    "returned_30": "Back within 30 days",
    "rate_30": "Rate within 30 days",
    "end_to_end": "End-to-end reference",
    "volume_ml": "Volume, ml",
    "mass_g": "Mass, g",
    "remade": "Re-made",
    "days_over": "Days late",
    "advice": "What to do",
    "retryable": "A retry helps",
    **{name: name.upper() for name in ("gln", "iban", "bic")},
}


def label(name):
    """The name of a member, as a page writes it."""
    if name in LABELS:
        return LABELS[name]
    text = name.replace("_", " ").replace("-", " ")
    return text[:1].upper() + text[1:]
