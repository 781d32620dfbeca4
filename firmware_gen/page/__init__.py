"""The preview page: the boards of a show, running in a browser, with what they move drawn."""
