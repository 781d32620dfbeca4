"""Writes `seqlang/schemas/`: `python -m tests.seqlang.output_schemas`.

What commands print with `--format json`, as JSON Schema (2020-12). Records that are dataclasses are
described from their fields; what a command puts together itself is described here.
"""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from firmware_gen.link.protocol import Hello, State
from seqlang.explain import Explanation
from seqlang.summary import Summary
from sim.rehearsal.trajectories import Refusal
from sim.strain.sizing import Sizes

FOLDER = Path(__file__).parents[2] / "seqlang" / "schemas"
DIALECT = "https://json-schema.org/draft/2020-12/schema"
PLAIN = {int: "integer", str: "string", bool: "boolean"}

Schema = dict[str, Any]


def of(kind: Any) -> Schema:
    """The schema of a type; numbers with a fraction may be null, which stands for no bound."""
    if kind in PLAIN:
        return {"type": PLAIN[kind]}
    if kind is float:
        return {"type": ["number", "null"]}
    if kind is NoneType:
        return {"type": "null"}
    if dataclasses.is_dataclass(kind):
        hints = get_type_hints(kind)
        return whole(**{field.name: of(hints[field.name]) for field in dataclasses.fields(kind)})
    origin, arguments = get_origin(kind), get_args(kind)
    if origin is Literal:
        return {"enum": list(arguments)}
    if origin is tuple and arguments[1:] == (Ellipsis,):
        return array(of(arguments[0]))
    if origin is tuple:
        return {"type": "array", "prefixItems": [of(one) for one in arguments], "items": False}
    if origin in (Union, UnionType):
        return either(*map(of, arguments))
    raise TypeError(f"no schema for {kind}")


def whole(optional: tuple[str, ...] = (), **properties: Schema) -> Schema:
    """An object of just these properties."""
    return {
        "type": "object",
        "properties": properties,
        "required": [name for name in properties if name not in optional],
        "additionalProperties": False,
    }


def array(items: Schema) -> Schema:
    return {"type": "array", "items": items}


def either(*schemas: Schema) -> Schema:
    return {"anyOf": list(schemas)}


def said(schema: Schema, words: str) -> Schema:
    return {**schema, "description": words}


TEXT: Schema = {"type": "string"}
WHOLE: Schema = {"type": "integer", "minimum": 0}
NUMBER: Schema = {"type": ["number", "null"]}
NAME: Schema = {"type": "string", "pattern": "^[a-z]+(-[a-z]+)*$"}
WHOLE_OR_NULL: Schema = {"type": ["integer", "null"], "minimum": 0}
OR_NULL: Schema = {"type": ["string", "null"]}

SPAN = said(
    whole(
        ("line", "column", "end_line", "end_column"),
        path=TEXT,
        start=said(WHOLE, "characters before it in the file"),
        end=said(WHOLE, "the same for its end, which does not belong to it"),
        line={"type": "integer", "minimum": 1},
        column={"type": "integer", "minimum": 1},
        end_line={"type": "integer", "minimum": 1},
        end_column={"type": "integer", "minimum": 1},
    ),
    "a place in a file; lines and columns count from 1, columns in characters",
)
CHANGE = whole(span=SPAN, text=TEXT)
FIX = whole(
    ("more", "bench"),
    span=SPAN,
    text=TEXT,
    more=array(CHANGE),
    bench=said(TEXT, "what must be done to the rig with it"),
)

FINDING = whole(
    severity={"enum": ["error", "warning", "advice"]},
    name=said(NAME, "stable; `bellcrank explain NAME` explains it"),
    message=TEXT,
    span=SPAN,
    label=said(TEXT, "what is said at the place"),
    related=array(whole(span=SPAN, label=TEXT)),
    trail=said(
        array(whole(words=TEXT, span=either(SPAN, {"type": "null"}))),
        "how the text at `span` came to mean this, the outermost step first",
    ),
    notes=array(TEXT),
    help=said(OR_NULL, "what would pass, in words"),
    fix=said(either(FIX, {"type": "null"}), "what would pass, as text; `more`: with it"),
    asked=said(NUMBER, "what the show asks for, in `unit`"),
    limit=said(NUMBER, "what is the limit, in `unit`"),
    unit=OR_NULL,
)

FILES = said(array(TEXT), "what was written, in this order")
ON_A_BOARD: dict[str, Schema] = {
    "chip": WHOLE_OR_NULL,
    "mode": OR_NULL,
    "show": OR_NULL,
    "bytes": WHOLE_OR_NULL,
    "board": said(OR_NULL, "of `--show`, if it plays that show"),
}

SCHEMAS: dict[str, Schema] = {
    "check": whole(
        findings=array(FINDING),
        passed={"type": "boolean"},
        summary=either(of(Summary), {"type": "null"}),
    ),
    "compile": whole(
        show=said({"type": "string", "pattern": "^[0-9a-f]{8}$"}, "the digest that boards keep"),
        digest=said({"type": "string", "pattern": "^[0-9a-f]{64}$"}, "SHA-256 of all tables"),
        boards=array(
            whole(
                board=TEXT,
                address=WHOLE,
                chip=TEXT,
                bytes=WHOLE,
                slot_bytes=WHOLE,
                fits=said({"type": "boolean"}, "whether it fits a slot"),
                file=TEXT,
                cues=array(TEXT),
            )
        ),
    ),
    "explain": array(of(Explanation)),
    "flash": either(
        whole(
            show_on=said({"const": "new"}, "it was read back"),
            address=WHOLE,
            bytes=WHOLE,
            slot=WHOLE,
            crc={"type": "string", "pattern": "^[0-9A-F]{4}$"},
            repeats=said(WHOLE, "frames that were sent again"),
            restarts=said(WHOLE, "times that the transfer began anew"),
            left=said(
                array(TEXT),
                "the show's other boards that were not given this version from this computer",
            ),
            led=said(
                array(
                    whole(
                        address=WHOLE,
                        show_on={"enum": ["old", "new", "unknown"]},
                        failure=said(either(NAME, {"type": "null"}), "why it did not get it"),
                    )
                ),
                "boards that answer the one that leads, and so get their tables through it",
            ),
        ),
        said(
            whole(show_on={"enum": ["old", "new", "unknown"]}),
            "if it failed after a board was looked for: which show the board has",
        ),
    ),
    "monitor": whole(
        begun=said(OR_NULL, "time of the first record (ISO 8601)"),
        ended=said(OR_NULL, "time of the last record"),
        sessions=WHOLE,
        crashed=said(WHOLE, "sessions that did not say that they end"),
        watched_s=NUMBER,
        pressed=array(whole(board=TEXT, what=TEXT, count=WHOLE)),
        wrong=array(whole(at=TEXT, board=TEXT, words=TEXT)),
        unreadable=said(WHOLE, "lines that a crash cut short"),
    ),
    "plot": whole(files=FILES, refused=said(array(of(Refusal)), "presses that started nothing")),
    "preview": whole(files=FILES),
    "book": whole(files=FILES, show=said(TEXT, "its number, as `bellcrank status` writes it")),
    "size": of(Sizes),
    "ports": array(
        whole(
            port=TEXT,
            description=TEXT,
            in_use=said(array(TEXT), "commands that use it"),
            failure=said(either(NAME, {"type": "null"}), "why no board answers"),
            address=said(WHOLE_OR_NULL, "null if no board answers or none was asked"),
            **ON_A_BOARD,
            answering=said(
                array(
                    whole(
                        failure=said(either(NAME, {"type": "null"}), "why it does not answer"),
                        address=WHOLE,
                        **ON_A_BOARD,
                    )
                ),
                "boards that are reached through this one",
            ),
        )
    ),
    "read": whole(
        address=WHOLE,
        bytes=WHOLE,
        crc={"type": "string", "pattern": "^[0-9A-F]{4}$"},
        show={"type": "string", "pattern": "^[0-9a-f]{8}$"},
        sha256={"type": "string", "pattern": "^[0-9a-f]{64}$"},
        board=said(OR_NULL, "of `--show`, if it plays that show"),
        lines=array(whole(offset=WHOLE, bytes=said(TEXT, "in hexadecimal"), words=TEXT)),
    ),
    "status": either(
        whole(address=WHOLE, hello=of(Hello), state=of(State)),
        said(
            whole(
                address=WHOLE,
                hello=of(Hello),
                state=of(State),
                answering=array(
                    either(
                        whole(address=WHOLE, hello=of(Hello), state=of(State)),
                        whole(address=WHOLE, failure=NAME),
                    )
                ),
            ),
            "of a board that leads, with those that answer it",
        ),
        said(
            array(
                either(
                    whole(port=TEXT, address=WHOLE, hello=of(Hello), state=of(State)),
                    whole(port=TEXT, failure=NAME),
                )
            ),
            "with `--all`",
        ),
    ),
    "trigger": array(
        whole(
            cue=said(OR_NULL, "its name; null without `--show`, or if that is another show"),
            number=WHOLE,
            tag=said({"type": "string", "pattern": "^[0-9A-F]{4}$"}, "what the link calls it by"),
            buttons=array(WHOLE),
            running={"type": "boolean"},
        )
    ),
}


def as_file(name: str) -> str:
    head = {"$schema": DIALECT, "title": f"bellcrank {name} --format json"}
    return json.dumps({**head, **SCHEMAS[name]}, indent=1) + "\n"


if __name__ == "__main__":
    for name in SCHEMAS:
        (FOLDER / f"{name}.schema.json").write_text(as_file(name), encoding="utf-8")
