"""The cue language: text to a checked show, and the `bellcrank` command.

`load.load` reads a show, `check.check` checks it, `render.text` shows what was found,
`format.text_of` writes a show as text again. LANGUAGE.md explains the language.
"""

__all__ = ["check", "command", "diagnostics", "format", "load", "render"]
