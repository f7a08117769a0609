"""What is wrong with a value that was read from a file, in the words of this program and not of the library that found
it."""

from __future__ import annotations

from typing import Any

_WANTED = {
    "missing": "this is missing",
    "int_type": "a whole number is wanted",
    "int_parsing": "a whole number is wanted",
    "int_from_float": "a whole number is wanted",
    "int_parsing_size": "a smaller number is wanted",
    "float_type": "a number is wanted",
    "float_parsing": "a number is wanted",
    "finite_number": "a number is wanted",
    "string_type": "a text is wanted",
    "string_unicode": "a text is wanted",
    "string_sub_type": "a text is wanted",
    "string_pattern_mismatch": "a text of another form is wanted",
    "bool_type": "true or false is wanted",
    "bool_parsing": "true or false is wanted",
    "list_type": "a list is wanted",
    "tuple_type": "a list is wanted",
    "dict_type": "keys and values in braces are wanted",
    "model_type": "keys and values in braces are wanted",
    "literal_error": "use {expected}",
    "greater_than": "a number above {gt:g} is wanted",
    "greater_than_equal": "a number of {ge:g} or more is wanted",
    "less_than": "a number below {lt:g} is wanted",
    "less_than_equal": "a number of {le:g} or less is wanted",
    "string_too_short": "a text of {min_length} signs or more is wanted",
    "string_too_long": "a text of {max_length} signs or fewer is wanted",
    "too_short": "{min_length} of these or more are wanted",
    "too_long": "{max_length} of these or fewer are wanted",
}


def wanted(detail: Any) -> str:
    """The rule that a value breaks, from one of a validation's `errors(include_context=True)`."""
    context = detail.get("ctx") or {}
    if detail["type"] == "value_error":
        return str(context["error"])
    return _WANTED.get(detail["type"], "this cannot be used").format(**context)
