"""The Flight screen on 127.0.0.1: the request beside the answer, as a page and as data (docs/methods/screens.md)."""
