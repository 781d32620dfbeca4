"""What a text editor asks while a show is written, and the language server that answers it.

`server` speaks the Language Server Protocol; nothing else here knows of it. The other modules are
functions of a text and what reading and checking it found: `completion`, `hover`, `naming`
(where names stand, renaming), `outline`, `colouring`, `document` (text, lines, positions).
"""
