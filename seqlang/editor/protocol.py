"""The protocol as the library has it, with texts of our own and with every message answered."""

from __future__ import annotations

from typing import Any

from lsprotocol import types as lsp
from pygls.exceptions import JsonRpcException, JsonRpcInvalidRequest
from pygls.protocol import LanguageServerProtocol
from pygls.protocol.language_server import lsp_method


class OwnTexts(LanguageServerProtocol):
    """The protocol without the library's own copies of the texts.

    Those cut lines where the protocol does not (form feed, U+2028), and take time on large texts.
    """

    @lsp_method(lsp.TEXT_DOCUMENT_DID_OPEN)
    def lsp_text_document__did_open(self, params: lsp.DidOpenTextDocumentParams) -> Any:
        yield self.fm.features[lsp.TEXT_DOCUMENT_DID_OPEN], (params,), None

    @lsp_method(lsp.TEXT_DOCUMENT_DID_CHANGE)
    def lsp_text_document__did_change(self, params: lsp.DidChangeTextDocumentParams) -> Any:
        yield self.fm.features[lsp.TEXT_DOCUMENT_DID_CHANGE], (params,), None

    @lsp_method(lsp.TEXT_DOCUMENT_DID_CLOSE)
    def lsp_text_document__did_close(self, params: lsp.DidCloseTextDocumentParams) -> Any:
        yield self.fm.features[lsp.TEXT_DOCUMENT_DID_CLOSE], (params,), None

    def structure_message(self, data: dict[str, Any]) -> Any:
        """A message with its types. One that asks and cannot be read gets its answer here: the
        library would leave who asked waiting."""
        try:
            return super().structure_message(data)
        except JsonRpcException as error:
            if "id" in data and "method" in data:
                self._send_response(data["id"], error=error.to_response_error())
            raise

    def handle_message(self, message: Any) -> None:
        """Raises JsonRpcInvalidRequest for JSON that is no message."""
        if not hasattr(message, "jsonrpc"):
            raise JsonRpcInvalidRequest("it is not a message of the protocol")
        super().handle_message(message)
