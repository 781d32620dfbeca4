"""The serial link, seen from the host: frames, requests, transfer, ports."""
