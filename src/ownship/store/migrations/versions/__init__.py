"""A module a step; `revision` is the schema it makes."""
