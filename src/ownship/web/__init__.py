"""A first page on 127.0.0.1: the request in plain forms, the same assessment back."""
