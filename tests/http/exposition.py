# SPDX-License-Identifier: ISC
"""The rules for names and text of Prometheus metrics. Each violation is a finding in words.

Sources, from memory: Prometheus documentation, "Exposition formats" (text format 0.0.4) and "Metric and label naming";
the rules of `promtool check metrics`; OpenMetrics 1.0, "Canonical numbers", for the bounds of buckets."""
import re

from prometheus_client.parser import text_string_to_metric_families

# Units of which a base unit exists, and words that shorten a unit: neither may be a word of a name.
NOT_BASE_UNITS = {
    *(
        prefix + unit
        for prefix in (
            "nano",
            "micro",
            "milli",
            "centi",
            "kilo",
            "mega",
            "giga",
            "tera",
            "kibi",
            "mebi",
            "gibi",
            "tebi",
        )
        for unit in ("seconds", "bytes", "meters", "grams", "joules", "volts", "amperes")
    ),
    "bits",
    "minutes",
    "hours",
    "days",
    "weeks",
    "months",
    "years",
    "percent",
    "fahrenheit",
    "inches",
    "yards",
    "miles",
    "calories",
    "pounds",
    "ounces",
}
ABBREVIATIONS = {"s", "ms", "us", "ns", "sec", "secs", "b", "kb", "mb", "gb", "tb", "pb", "m", "h", "d"}
BASE_UNITS = {"seconds", "bytes", "meters", "grams", "joules", "volts", "amperes", "celsius", "ratio"}
TYPES = {"gauge", "counter", "histogram", "summary"}
SUFFIXES = {"counter": {"_total"}, "gauge": {""}, "histogram": {"_bucket", "_sum", "_count"}}
SAMPLE = re.compile(
    r'(?P<name>[a-zA-Z_:][a-zA-Z0-9_:]*)(\{(?P<labels>[a-zA-Z_]\w*="(?:[^"\\\n]|\\[\\"n])*"'
    r'(,[a-zA-Z_]\w*="(?:[^"\\\n]|\\[\\"n])*")*)\})? [0-9]+(\.[0-9]+)?'
)


def findings(text):
    """The faults of an exposition, a line each; empty if there are none."""
    return [
        *_of_lines(text),
        *(found for family in text_string_to_metric_families(text) for found in _of_family(family)),
        *_of_collisions(text),
    ]


def _of_lines(text):
    """Every line is a HELP, the TYPE after it, or a sample of that family. The lines of a family stand together."""
    if not text.endswith("\n") or "\r" in text:
        yield "lines do not end with LF"
    seen, current, has_type = set(), None, False
    for line in text.splitlines():
        if match := re.fullmatch(r"# HELP (\S+) (\S.*)", line):
            current, has_type = match.group(1), False
            if current in seen:
                yield f"{current}: stands twice"
            seen.add(current)
        elif line.startswith("#"):
            has_type = re.fullmatch(rf"# TYPE {current} (counter|gauge|histogram)", line) is not None
            if not has_type:
                yield f"not the TYPE of {current}: {line}"
            elif line.endswith("counter") and not current.endswith("_total"):
                yield f"{current}: a counter without _total"
        elif not (match := SAMPLE.fullmatch(line)):
            yield f"no sample: {line}"
        elif not current or not re.fullmatch(rf"{current}(_bucket|_sum|_count)?", match["name"]):
            yield f"{match['name']}: not below its own HELP"
        elif not has_type:
            yield f"{current}: no TYPE"


def _of_family(family):
    words = family.name.split("_")
    if not re.fullmatch(r"depositd(_[a-z][a-z0-9]*)+", family.name):
        yield f"{family.name}: not in snake case with the prefix of the application"
    if not family.documentation:
        yield f"{family.name}: no HELP"
    if family.type not in SUFFIXES:
        yield f"{family.name}: type {family.type}"
        return
    for word in words:
        if word in NOT_BASE_UNITS:
            yield f"{family.name}: {word} is not a base unit"
        if word in ABBREVIATIONS:
            yield f"{family.name}: {word} is an abbreviated unit"
        if word in TYPES:
            yield f"{family.name}: the type is part of the name"
    if BASE_UNITS & set(words[:-1]):
        yield f"{family.name}: a unit that is not the suffix"
    if family.type != "counter" and words[-1] in ("total", "count", "sum", "bucket"):
        yield f"{family.name}: a {family.type} with the suffix of another type"
    yield from _of_samples(family)


def _of_samples(family):
    for sample in family.samples:
        if sample.name.removeprefix(family.name) not in SUFFIXES[family.type]:
            yield f"{sample.name}: a {family.type} has no such suffix"
        if not sample.value >= 0:
            yield f"{sample.name}: {sample.value}"
        for label, value in sample.labels.items():
            if not re.fullmatch(r"[a-z][a-z0-9_]*", label) or label in ("quantile", "job", "instance"):
                yield f"{sample.name}: label {label}"
            if label == "le" and (family.type != "histogram" or not sample.name.endswith("_bucket")):
                yield f"{sample.name}: le is for buckets"
            if label == "le" and value != "+Inf" and value != repr(float(value)):
                yield f"{sample.name}: le {value} is not a canonical number"
            if re.search(r"[()]|^null$|^nil$", value):
                yield f"{sample.name}: {label} has no word: {value}"
    series = [(sample.name, *sorted(sample.labels.items())) for sample in family.samples]
    if len(series) != len(set(series)):
        yield f"{family.name}: a series stands twice"


def _of_collisions(text):
    """Two families may not share a name, and a family may not have the name of another's sample: OpenMetrics strips
    `_total`, and a histogram takes three names."""
    taken = {}
    for at, family in enumerate(text_string_to_metric_families(text)):
        for name in {family.name, *(family.name + suffix for suffix in SUFFIXES.get(family.type, ()))}:
            if taken.setdefault(name, at) != at:
                yield f"{name}: of two families"
