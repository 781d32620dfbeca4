"""Findings in SARIF 2.1.0, the OASIS standard for what checkers find, for editors and servers.

Section numbers are those of the standard. Lines and columns count from 1, columns in characters
(3.14.17, `unicodeCodePoints`); ends are exclusive (3.30).
"""

from __future__ import annotations

import json
import os
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Final
from urllib.parse import quote

from seqlang.explain import Explanation, explanations

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from seqlang.text.findings import Finding, Fix, Span
    from seqlang.text.source import Source

SCHEMA: Final = (
    "https://raw.githubusercontent.com/oasis-tcs/sarif-spec/master/Schemata/sarif-schema-2.1.0.json"
)
LEVELS: Final = {"error": "error", "warning": "warning", "advice": "note"}
"""Our severities as the standard's levels (3.27.10)."""


def as_sarif(
    findings: Sequence[Finding], sources: Mapping[str, Source], version: str, status: int
) -> str:
    """One log with one run (3.13, 3.14); `status` is the command's exit status (3.20.8)."""
    rules = list(dict.fromkeys(finding.name for finding in findings))
    known = explanations()
    driver = {
        "name": "bellcrank",
        "version": version,
        "rules": [_rule(name, known.get(name)) for name in rules],
    }
    run = {
        "tool": {"driver": driver},
        "columnKind": "unicodeCodePoints",
        "invocations": [{"executionSuccessful": True, "exitCode": status}],
        "artifacts": [{"location": _artifact(path)} for path in sources],
        "results": [_result(finding, rules.index(finding.name), sources) for finding in findings],
    }
    return json.dumps({"$schema": SCHEMA, "version": "2.1.0", "runs": [run]}, indent=2)


def _rule(name: str, one: Explanation | None) -> dict[str, object]:
    """A reporting descriptor (3.49) with the words of `FINDINGS.md`."""
    rule: dict[str, object] = {"id": name}
    if one is None:
        return rule
    rule["shortDescription"] = {"text": _sentence(one.title)}
    if one.points:
        rule["help"] = {"text": " ".join(map(_sentence, one.points))}
    else:
        rule["fullDescription"] = {"text": _sentence(one.what)}
        rule["help"] = {"text": f"Why: {one.why}\nWhat helps: {one.remedy}\n{one.change}".strip()}
    return rule


def _result(finding: Finding, rule: int, sources: Mapping[str, Source]) -> dict[str, object]:
    """A result (3.27): where it is, what helps in its message, and its fix."""
    words = _sentence(finding.message) + (f" Try: {finding.help}." if finding.help else "")
    result: dict[str, object] = {
        "ruleId": finding.name,
        "ruleIndex": rule,
        "level": LEVELS[finding.severity],
        "message": {"text": words},
        "locations": [_location(finding.span, sources, finding.label)] if finding.span.path else [],
    }
    ways = [(way.span, way.words) for way in reversed(finding.trail)]
    if ways or finding.related:
        result["relatedLocations"] = [
            {"id": number, **_location(span, sources, label)}
            for number, (span, label) in enumerate((*ways, *finding.related))
        ]
    if finding.fix is not None:
        result["fixes"] = [_fix(finding.fix, sources)]
    figures = {"asked": finding.asked, "limit": finding.limit, "unit": finding.unit}
    properties: dict[str, object] = {
        key: value if isinstance(value, str) else _bounded(value)
        for key, value in figures.items()
        if value is not None
    }
    if finding.notes:
        properties["notes"] = list(finding.notes)
    if properties:
        result["properties"] = properties
    return result


def _location(span: Span | None, sources: Mapping[str, Source], label: str) -> dict[str, object]:
    """A location (3.28) with the words of its marker; the words alone where it has no place."""
    if span is None:
        return {"message": {"text": _sentence(label)}}
    physical: dict[str, object] = {"artifactLocation": _artifact(span.path)}
    if span.path in sources:
        physical["region"] = _region(span, sources[span.path])
    location: dict[str, object] = {"physicalLocation": physical}
    if label:
        location["message"] = {"text": _sentence(label)}
    return location


def _region(span: Span, source: Source) -> dict[str, int]:
    return {
        "startLine": source.line_number(span.start),
        "startColumn": source.column_number(span.start),
        "endLine": source.line_number(span.end),
        "endColumn": source.column_number(span.end),
    }


def _fix(fix: Fix, sources: Mapping[str, Source]) -> dict[str, object]:
    """A fix (3.55): all its replacements belong together, those of every file."""
    described = {"description": {"text": fix.bench}} if fix.bench else {}
    return described | {
        "artifactChanges": [
            {
                "artifactLocation": _artifact(path),
                "replacements": [
                    {
                        "deletedRegion": _region(span, sources[path]),
                        "insertedContent": {"text": text},
                    }
                    for span, text in part.places
                ],
            }
            for path, part in fix.by_file.items()
        ]
    }


def _artifact(path: str) -> dict[str, str]:
    """A file as a URI (3.4.3): relative as it was named, or absolute."""
    if PurePath(path).is_absolute():
        return {"uri": Path(path).as_uri()}
    return {"uri": quote(os.fsencode(PurePath(path).as_posix()))}


def _bounded(value: float) -> float | None:
    """JSON has no infinity."""
    return value if abs(value) < float("inf") else None


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:] + ("" if words.endswith((".", "?")) else ".")
