"""One process of a user owns the ports and serves every command, page and terminal.

`client` is what programs use. The others, in the order in which a request passes through them:
`messages` (what travels between client and owner), `serving` (the process: sockets, clients,
ports), `arbiter` (who may ask the board what, and when; pure), `port_threads` (a port's bytes),
`meeting` (how client and owner find one another).
"""
