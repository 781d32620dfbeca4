"""The language server: the Language Server Protocol 3.17 over standard input and output.

Changes are taken on the event loop; reading and checking run behind it, on one thread. A text is
answered twice: at once with what reading it finds and the earlier checks' findings, moved along
with the text; then with those of its own checks. What belongs to an older version is never sent.
"""

from __future__ import annotations

import asyncio
import logging
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from importlib.metadata import version as installed
from typing import TYPE_CHECKING, Final, Protocol, TypeVar, cast

from lsprotocol import types as lsp
from pygls.exceptions import FeatureNotificationError, FeatureRequestError, JsonRpcException
from pygls.lsp.server import LanguageServer
from pygls.uris import to_fs_path

from seqlang.check import check
from seqlang.editor import colouring
from seqlang.editor.completion import proposals
from seqlang.editor.document import Change, Document, EditorPlace
from seqlang.editor.hover import told
from seqlang.editor.moved import line_changes, moved_along
from seqlang.editor.naming import CannotRenameError, ShowNames, renamed
from seqlang.editor.outline import Heading, headings
from seqlang.editor.protocol import OwnTexts
from seqlang.editor.study import OpenText, OpenTexts, Study, around, near_files, studied
from seqlang.loading import ReadBefore, with_fixes_tried
from seqlang.text.findings import Finding, Fix, Passage, Span
from seqlang.text.format import formatted
from seqlang.text.included import real_path
from seqlang.text.occurrences import Occurrence
from seqlang.text.render import is_caution
from seqlang.text.source import Source

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Sequence
    from pathlib import Path

    from seqlang.editor.document import Encoding

T = TypeVar("T")

_SEVERITIES: Final = {
    "error": lsp.DiagnosticSeverity.Error,
    "warning": lsp.DiagnosticSeverity.Warning,
    "advice": lsp.DiagnosticSeverity.Information,
}
_SYMBOLS: Final = {
    "cue": lsp.SymbolKind.Function,
    "gesture": lsp.SymbolKind.Method,
    "pose": lsp.SymbolKind.Struct,
    "given": lsp.SymbolKind.Constant,
    "show": lsp.SymbolKind.File,
    "include": lsp.SymbolKind.File,
    "board": lsp.SymbolKind.Module,
    "supply": lsp.SymbolKind.Package,
    "servo": lsp.SymbolKind.Object,
    "lamp": lsp.SymbolKind.Object,
    "strip": lsp.SymbolKind.Object,
    "switch": lsp.SymbolKind.Object,
}
_COMPLETIONS: Final = {
    "word": lsp.CompletionItemKind.Keyword,
    "unit": lsp.CompletionItemKind.Unit,
    "constant": lsp.CompletionItemKind.Constant,
    "colour": lsp.CompletionItemKind.Color,
    "cue": lsp.CompletionItemKind.Function,
    "gesture": lsp.CompletionItemKind.Method,
    "parameter": lsp.CompletionItemKind.Variable,
    "kind": lsp.CompletionItemKind.Keyword,
    "output": lsp.CompletionItemKind.Variable,
    "file": lsp.CompletionItemKind.File,
}
_TOKENS: Final = {
    "comment": "comment",
    "string": "string",
    "number": "number",
    "keyword": "keyword",
    "law": "enumMember",
    "colour": "enumMember",
    "region": "enumMember",
    "chip": "type",
    "pin": "enumMember",
    "output": "variable",
    "constant": "parameter",
    "cue": "function",
    "gesture": "method",
    "parameter": "parameter",
    "kind": "keyword",
    "pose": "struct",
    "board": "class",
    "supply": "class",
    "side": "namespace",
    **dict.fromkeys(("along", "channel", "sensor", "source", "value"), "variable"),
}
"""Kinds of words by the protocol's own names for kinds of tokens."""

_LEGEND: Final = lsp.SemanticTokensLegend(sorted(set(_TOKENS.values())), [])


class SupersededError(Exception):
    """The text has changed while it was looked at."""


class RefusedRequestError(JsonRpcException):
    """A request that was understood and cannot be granted (`RequestFailed` of the protocol)."""

    CODE = -32803


class _AtPosition(Protocol):
    """Parameters that point at a place in a text."""

    text_document: lsp.TextDocumentIdentifier
    position: lsp.Position


class CueServer(LanguageServer):
    """The open texts and what is known of each."""

    def __init__(self) -> None:
        super().__init__(
            "bellcrank",
            installed("bellcrank"),
            protocol_cls=OwnTexts,
            text_document_sync_kind=lsp.TextDocumentSyncKind.Incremental,
        )
        self.documents: dict[str, Document] = {}
        self.studies: dict[str, Study] = {}
        """The last study of each text, with its checks if they are done."""
        self._checked: dict[str, Study] = {}
        """The last study of each text that had its checks done."""
        self._before: dict[str, ReadBefore] = {}
        """What was read of each text, for its next version; only the worker touches them."""
        self._mains: dict[str, Path | None] = {}
        """The main file of the show that a text is included in, where it is."""
        self._closed: dict[str, list[str]] = {}
        """Files that are not open, of which something is said, by the text that includes them."""
        self._tasks: dict[str, asyncio.Task[None]] = {}
        self._worker = ThreadPoolExecutor(1, "studies")
        self._answerer = ThreadPoolExecutor(1, "answers")

    @property
    def encoding(self) -> Encoding:
        """The units of positions that were agreed on."""
        chosen = self.protocol.server_capabilities.position_encoding
        return cast("Encoding", getattr(chosen, "value", chosen) or "utf-16")

    def take(self, uri: str, document: Document) -> None:
        """A text is there, or has changed: it is looked at, and all whose shows it belongs to."""
        is_new = uri not in self.documents
        self.documents[uri] = document
        self._look_at(uri)
        path = real_path(document.path)
        for other, study in list(self.studies.items()):
            files = () if other == uri else study.whole.files
            is_told = is_new and uri in self._closed.get(other, ())
            if is_told or any(real_path(name) == path for name in files):
                self._look_at(other)

    def _look_at(self, uri: str) -> None:
        loop = asyncio.get_running_loop()
        self._tasks[uri] = loop.create_task(self._study(uri, self.documents[uri]))

    def forget(self, uri: str) -> None:
        """A text was closed: nothing is said of it any more, unless a show includes it."""
        for name in self._closed.get(uri, ()):
            self.text_document_publish_diagnostics(lsp.PublishDiagnosticsParams(name, []))
        for kept in (self.documents, self.studies, self._checked, self._tasks, self._before):
            cast("dict[str, object]", kept).pop(uri, None)
        for also in (self._mains, self._closed):
            cast("dict[str, object]", also).pop(uri, None)
        self.text_document_publish_diagnostics(lsp.PublishDiagnosticsParams(uri, []))
        path = _path_of(uri)
        for other, study in list(self.studies.items()):
            if any(real_path(name) == real_path(path) for name in study.whole.files):
                self._look_at(other)

    async def study(self, uri: str) -> Study | None:
        """What is known of the newest version of a text, once its checks are done."""
        while uri in self.documents:
            task = self._tasks[uri]
            await asyncio.shield(task)
            if self._tasks.get(uri) is task:
                return self.studies.get(uri)
        return None

    def report_server_error(self, error: Exception, source: type[Exception]) -> None:
        """What went wrong, for the editor's log; a request has its answer already."""
        if source is FeatureRequestError:
            return
        what = "this message was not understood"
        if source is FeatureNotificationError:
            what = "this is a mistake in bellcrank itself"
        words = f"{what}: {error}"
        self.window_log_message(lsp.LogMessageParams(lsp.MessageType.Error, words))

    async def answer(self, work: Callable[[], T]) -> T:
        """Do some work for a request off the event loop."""
        return await asyncio.get_running_loop().run_in_executor(self._answerer, work)

    async def _study(self, uri: str, document: Document) -> None:
        """Read and check a text and publish both answers, unless it changes meanwhile."""
        task = asyncio.current_task()

        def still_wanted() -> None:
            if self._tasks.get(uri) is not task or self.documents.get(uri) is not document:
                raise SupersededError

        def read() -> tuple[Study, Path | None]:
            still_wanted()
            near = around(real_path(document.path)) if is_new else known
            return studied(OpenText(uri, document), texts, near, before)

        def check_it() -> Study:
            still_wanted()
            complete = with_fixes_tried(study.loaded, before)
            last = self._checked.get(uri)
            earlier = None if last is None else last.checked
            return replace(study, loaded=complete, checked=check(complete, still_wanted, earlier))

        loop = asyncio.get_running_loop()
        before = self._before.setdefault(uri, ReadBefore())
        is_new, main = uri not in self._mains, self._mains.get(uri)
        known = () if main is None else (main,)
        open_now = {real_path(one.path): OpenText(u, one) for u, one in self.documents.items()}
        texts = OpenTexts(open_now)
        try:
            study, self._mains[uri] = await loop.run_in_executor(self._worker, read)
            still_wanted()
            self.studies[uri] = study
            self._publish(study, [*study.findings(), *self._earlier(study)])
            study = await loop.run_in_executor(self._worker, check_it)
            still_wanted()
            self.studies[uri] = self._checked[uri] = study
            self._publish(study, study.findings())
            self._tell_of_closed(study)
        except SupersededError:
            return
        except Exception as error:  # a mistake of ours must not end the editor's session
            words = f"this is a mistake in bellcrank itself: {type(error).__name__}: {error}"
            self.window_log_message(lsp.LogMessageParams(lsp.MessageType.Error, words))

    def _earlier(self, study: Study) -> list[Finding]:
        """Findings of the last checks about words that have not changed since."""
        last = self._checked.get(study.uri)
        if last is None or last.checked is None:
            return []
        of_reading = set(map(id, last.loaded.findings))
        kept = (f for f in last.findings() if id(f) not in of_reading)
        old, new = last.document.source.text, study.document.source.text
        return list(moved_along(kept, old, new, study.path))

    def _publish(self, study: Study, findings: Sequence[Finding]) -> None:
        found = [_diagnostic(study, finding) for finding in findings]
        self.text_document_publish_diagnostics(
            lsp.PublishDiagnosticsParams(study.uri, found, study.document.version)
        )

    def _tell_of_closed(self, study: Study) -> None:
        """What is wrong with files that the show includes and that nobody has opened."""
        closed = study.closed_files if study.is_main else {}
        for uri in self._closed.get(study.uri, ()):
            if uri not in closed and uri not in self.documents:
                self.text_document_publish_diagnostics(lsp.PublishDiagnosticsParams(uri, []))
        self._closed[study.uri] = list(closed)
        for uri, path in closed.items():
            found = [_diagnostic(study, finding) for finding in study.findings(path)]
            self.text_document_publish_diagnostics(lsp.PublishDiagnosticsParams(uri, found))


# -- ours to theirs ----------------------------------------------------------------------------


def _position(document: Document, offset: int) -> lsp.Position:
    return lsp.Position(*document.place(offset))


def _range(document: Document, start: int, end: int) -> lsp.Range:
    return lsp.Range(_position(document, start), _position(document, end))


def _offset(document: Document, position: lsp.Position) -> int:
    return document.offset(EditorPlace(position.line, position.character))


def _edit(document: Document, start: int, end: int, text: str) -> lsp.TextEdit:
    return lsp.TextEdit(_range(document, start, end), text.replace("\n", document.line_end))


def _diagnostic(study: Study, finding: Finding) -> lsp.Diagnostic:
    words = [finding.message, *(way.words for way in finding.trail if way.span is None)]
    words += finding.notes
    words += [f"try: {finding.help}"] if finding.help else []
    severity = _SEVERITIES[finding.severity]
    return lsp.Diagnostic(
        _location(study, finding.span).range,
        "\n".join(words),
        lsp.DiagnosticSeverity.Information if is_caution(finding) else severity,
        finding.name,
        source="bellcrank",
        related_information=[
            lsp.DiagnosticRelatedInformation(_location(study, span), label or "see here")
            for span, label in (*_written(finding.trail), *finding.related)
        ],
    )


def _location(study: Study, span: Span) -> lsp.Location:
    """A place in any of the show's files."""
    uri, document = study.text(span.path)
    return lsp.Location(uri, _range(document, span.start, span.end))


def _edits(study: Study, places: Iterable[tuple[Span, str]]) -> dict[str, Sequence[lsp.TextEdit]]:
    """Changes in any of the show's files, by file."""
    found: dict[str, list[lsp.TextEdit]] = {}
    for span, text in places:
        uri, document = study.text(span.path)
        found.setdefault(uri, []).append(_edit(document, span.start, span.end, text))
    return dict(found)


def _written(trail: Sequence[Passage]) -> Iterator[tuple[Span, str]]:
    """The passages that have a place in the text, the innermost first."""
    for way in reversed(trail):
        if way.span is not None:
            yield way.span, way.words


def _place(params: _AtPosition) -> tuple[str, lsp.Position]:
    return params.text_document.uri, params.position


# -- texts -------------------------------------------------------------------------------------


def _opened(server: CueServer, params: lsp.DidOpenTextDocumentParams) -> None:
    text = params.text_document
    path = _path_of(text.uri)
    server.take(text.uri, Document.of(path, text.text, text.version, server.encoding))


def _path_of(uri: str) -> str:
    return to_fs_path(uri) or uri


def _changed(server: CueServer, params: lsp.DidChangeTextDocumentParams) -> None:
    uri = params.text_document.uri
    document = server.documents.get(uri)
    if document is None:
        return
    changes = [_change(change) for change in params.content_changes]
    server.take(uri, document.changed(changes, params.text_document.version))


def _change(change: lsp.TextDocumentContentChangeEvent) -> Change:
    if not isinstance(change, lsp.TextDocumentContentChangePartial):
        return Change(change.text)
    start, end = change.range.start, change.range.end
    return Change(
        change.text,
        EditorPlace(start.line, start.character),
        EditorPlace(end.line, end.character),
    )


def _closed(server: CueServer, params: lsp.DidCloseTextDocumentParams) -> None:
    server.forget(params.text_document.uri)


# -- questions ---------------------------------------------------------------------------------


async def _completion(server: CueServer, params: lsp.CompletionParams) -> lsp.CompletionList | None:
    uri, position = _place(params)
    document = server.documents.get(uri)
    if document is None:
        return None
    offset = _offset(document, position)
    study = server.studies.get(uri)
    names = ShowNames(()) if study is None else study.names
    source, read = document.source, None
    if study is not None and not study.whole.is_one_file:
        source, read = Source(study.path, document.source.text), study.read
    found = await server.answer(
        lambda: proposals(source, offset, names, read, near_files(document))
    )
    edit_range = _range(document, found.start, offset)
    items = [
        lsp.CompletionItem(
            one.text,
            kind=_COMPLETIONS.get(one.kind, lsp.CompletionItemKind.Value),
            detail=one.detail or one.kind,
            sort_text=f"{number:04}",
            filter_text=one.text,
            text_edit=lsp.TextEdit(edit_range, one.text),
        )
        for number, one in enumerate(found.all)
    ]
    return lsp.CompletionList(is_incomplete=True, items=items)


async def _hover(server: CueServer, params: lsp.HoverParams) -> lsp.Hover | None:
    uri, position = _place(params)
    study = await server.study(uri)
    if study is None:
        return None
    document = study.document
    offset = study.offset(_offset(document, position))
    found = await server.answer(
        lambda: told(study.whole.source, offset, study.loaded, study.checked)
    )
    if found is None:
        return None
    span = study.span(found.start, found.end)
    content = lsp.MarkupContent(lsp.MarkupKind.Markdown, found.markdown)
    return lsp.Hover(content, _range(document, span.start, span.end))


async def _named_at(server: CueServer, params: _AtPosition) -> tuple[Study, Occurrence] | None:
    """The name at a position, in the show's whole text, and where it was looked up."""
    uri, position = _place(params)
    study = await server.study(uri)
    if study is None:
        return None
    one = study.names.at(study.offset(_offset(study.document, position)))
    return None if one is None else (study, one)


async def _definition(server: CueServer, params: lsp.DefinitionParams) -> lsp.Location | None:
    found = await _named_at(server, params)
    if found is None:
        return await _included_file(server, params)
    study, one = found
    declaration = study.names.declaration(one)
    if declaration is None:
        return None
    return _location(study, study.span(declaration.start, declaration.end))


async def _included_file(server: CueServer, params: lsp.DefinitionParams) -> lsp.Location | None:
    """The file that the line at a position includes."""
    uri, position = _place(params)
    study = await server.study(uri)
    if study is None:
        return None
    path = study.included_at(_offset(study.document, position))
    return None if path is None else _location(study, Span(path, 0, 0))


async def _references(server: CueServer, params: lsp.ReferenceParams) -> list[lsp.Location] | None:
    found = await _named_at(server, params)
    if found is None:
        return None
    study, one = found
    return [
        _location(study, study.span(other.start, other.end))
        for other in study.names.same(one)
        if params.context.include_declaration or not other.declares
    ]


async def _prepare_rename(server: CueServer, params: lsp.PrepareRenameParams) -> lsp.Range | None:
    found = await _named_at(server, params)
    if found is None:
        return None
    study, one = found
    if study.names.declaration(one) is None:
        return None
    return _location(study, study.span(one.start, one.end)).range


async def _rename(server: CueServer, params: lsp.RenameParams) -> lsp.WorkspaceEdit | None:
    found = await _named_at(server, params)
    if found is None:
        return None
    study, one = found
    try:
        places = await server.answer(lambda: renamed(study.loaded, one, params.new_name))
    except CannotRenameError as reason:
        raise RefusedRequestError(str(reason)) from None
    spans = (study.span(place.start, place.end) for place in places)
    edits = _edits(study, ((span, params.new_name) for span in spans))
    return lsp.WorkspaceEdit(edits or {study.uri: []})


async def _formatting(
    server: CueServer, params: lsp.DocumentFormattingParams
) -> list[lsp.TextEdit] | None:
    document = server.documents.get(params.text_document.uri)
    if document is None:
        return None
    made = await server.answer(lambda: formatted(document.source))
    if made.findings:
        return None
    changes = await server.answer(lambda: list(line_changes(document.source.text, made.text)))
    return [_edit(document, start, end, text) for start, end, text in changes]


async def _code_action(
    server: CueServer, params: lsp.CodeActionParams
) -> list[lsp.CodeAction] | None:
    study = await server.study(params.text_document.uri)
    if study is None or study.checked is None:
        return None
    document = study.document
    first, last = (_offset(document, at) for at in (params.range.start, params.range.end))
    return [
        _action(study, finding, finding.fix)
        for finding in study.checked.findings
        if finding.fix is not None
        and any(
            s.path == study.path and s.start <= last and first <= s.end
            for s in (finding.span, finding.fix.span)
        )
    ]


def _action(study: Study, finding: Finding, fix: Fix) -> lsp.CodeAction:
    new = fix.text.strip()
    title = f"write `{new}`" if new and "\n" not in new else finding.help or "correct this"
    if not new:
        title = "leave this out"
    if fix.bench:
        title += f"; then {fix.bench}"
    return lsp.CodeAction(
        f"{title} ({finding.name})",
        kind=lsp.CodeActionKind.QuickFix,
        diagnostics=[_diagnostic(study, finding)],
        is_preferred=True,
        edit=lsp.WorkspaceEdit(_edits(study, fix.places)),
    )


async def _symbols(
    server: CueServer, params: lsp.DocumentSymbolParams
) -> list[lsp.DocumentSymbol] | None:
    study = await server.study(params.text_document.uri)
    if study is None:
        return None
    return [one for heading in headings(study.loaded.items) for one in _symbol(study, heading)]


def _symbol(study: Study, one: Heading) -> Iterator[lsp.DocumentSymbol]:
    """A heading of the text itself."""
    whole, name = study.own(one.start, one.end), study.own(one.name_start, one.name_end)
    if whole is not None and name is not None:
        yield lsp.DocumentSymbol(
            one.name or one.kind,
            _SYMBOLS.get(one.kind, lsp.SymbolKind.Property),
            _range(study.document, *whole),
            _range(study.document, *name),
            detail=one.detail or one.kind,
            children=[s for child in one.children for s in _symbol(study, child)] or None,
        )


async def _semantic_tokens(
    server: CueServer, params: lsp.SemanticTokensParams
) -> lsp.SemanticTokens | None:
    study = await server.study(params.text_document.uri)
    if study is None:
        return None
    return lsp.SemanticTokens(await server.answer(lambda: list(_token_numbers(study))))


def _token_numbers(study: Study) -> Iterator[int]:
    """Five numbers a word: lines and units from the one before, its length, its kind, 0."""
    document = study.document
    before = EditorPlace(0, 0)
    for one in colouring.coloured(document.source.text, study.own_names):
        start = document.place(one.start)
        length = document.place(one.end).character - start.character
        kind = _LEGEND.token_types.index(_TOKENS[one.kind])
        same_line = start.line == before.line
        yield start.line - before.line
        yield start.character - (before.character if same_line else 0)
        yield from (length, kind, 0)
        before = start


# -- the server --------------------------------------------------------------------------------


def make_server() -> CueServer:
    """A server with all that it can do; `start_io` runs it."""
    for name in ("pygls", "asyncio"):  # what the editor must know, it is told by the protocol
        logging.getLogger(name).addHandler(logging.NullHandler())
    server = CueServer()
    for method, handler, options in (
        (lsp.TEXT_DOCUMENT_DID_OPEN, _opened, None),
        (lsp.TEXT_DOCUMENT_DID_CHANGE, _changed, None),
        (lsp.TEXT_DOCUMENT_DID_CLOSE, _closed, None),
        (
            lsp.TEXT_DOCUMENT_COMPLETION,
            _completion,
            lsp.CompletionOptions(trigger_characters=[" ", "(", ":"]),
        ),
        (lsp.TEXT_DOCUMENT_HOVER, _hover, None),
        (lsp.TEXT_DOCUMENT_DEFINITION, _definition, None),
        (lsp.TEXT_DOCUMENT_REFERENCES, _references, None),
        (lsp.TEXT_DOCUMENT_PREPARE_RENAME, _prepare_rename, None),
        (lsp.TEXT_DOCUMENT_RENAME, _rename, lsp.RenameOptions(prepare_provider=True)),
        (lsp.TEXT_DOCUMENT_FORMATTING, _formatting, None),
        (
            lsp.TEXT_DOCUMENT_CODE_ACTION,
            _code_action,
            lsp.CodeActionOptions([lsp.CodeActionKind.QuickFix]),
        ),
        (lsp.TEXT_DOCUMENT_DOCUMENT_SYMBOL, _symbols, None),
        (lsp.TEXT_DOCUMENT_SEMANTIC_TOKENS_FULL, _semantic_tokens, _LEGEND),
    ):
        server.feature(method, options)(handler)
    return server
