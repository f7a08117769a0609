"""The scheme's format as JSON Schema (Draft 2020-12), made from the models, for editors that complete and check it.

It says which tables and fields there are, what kind of value each takes and what it does. It does not read amounts, nor
what ties several values together: those are the reader's own.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any, get_args, get_origin

from pydantic import BaseModel, BeforeValidator, PlainValidator
from pydantic.fields import FieldInfo

from layerpreview.scheme import fields as f
from layerpreview.scheme import part
from layerpreview.scheme.base import Base
from layerpreview.scheme.coat import DyeCoat, OpaqueCoat, RingsEntry
from layerpreview.scheme.model import FORMAT_VERSION, DyeEntry, Mix
from layerpreview.scheme.read import NAMED_TABLES, TABLES, Top
from layerpreview.scheme.report import model_in
from layerpreview.scheme.taken import TEXT, Check
from layerpreview.scheme.work import Clear, Gun, ProductEntry, Sanding, Shop

DIALECT = "https://json-schema.org/draft/2020-12/schema"
COAT_KINDS: Mapping[str, type[BaseModel]] = {"mix": DyeCoat, "opaque": OpaqueCoat, "rings": RingsEntry}
"""What a [[coat]] is, by the one key of these that it has."""
_ONE_OF_DYE = ("library", "file", "absorptivity")


@dataclass(frozen=True)
class Field:
    """One field as the file has it: what it does, what it takes in words and as JSON Schema, its default, an example.

    `default` is None where the field must be there or nothing stands in for it.
    """

    key: str
    does: str
    wants: str
    schema: Mapping[str, Any]
    example: Any
    default: object
    required: bool


def fields_of(model: type[BaseModel]) -> Iterator[Field]:
    """Yield the fields of a table, but for the name that the heading of a mix says."""
    for name, info in model.model_fields.items():
        if model is Mix and name == "name":
            continue
        wants, schema = _taken(info)
        default = None if info.is_required() else info.get_default(call_default_factory=True)
        (example,) = info.examples or (None,)
        yield Field(info.alias or name, info.description or "", wants, schema, example, default, info.is_required())


def scheme_schema() -> dict[str, Any]:
    """Return the JSON Schema of a scheme file."""
    single: dict[str, type[BaseModel]] = {
        "base": Base,
        "clear": Clear,
        "gun": Gun,
        "form": part.Form,
        "sanding": Sanding,
        "shop": Shop,
    }
    named: dict[str, type[BaseModel]] = {
        "dye": DyeEntry,
        "mix": Mix,
        "paint": ProductEntry,
        "base_of": Base,
        "surroundings": part.Room,
    }
    assert set(single) == set(TABLES)
    assert set(named) == set(NAMED_TABLES)
    top = _table(Top)
    tables: dict[str, Any] = {
        "face": {"type": "array", "minItems": 1, "items": _ref(part.Face)},
        **{key: _ref(model) for key, model in single.items()},
        **{key: {"type": "object", "additionalProperties": _ref(model)} for key, model in named.items()},
        "coat": {"type": "array", "items": {"$ref": "#/$defs/Coat"}},
    }
    tables["base_of"] = {"type": "object", "additionalProperties": {"$ref": "#/$defs/BaseOfFace"}}
    every = _models(*single.values(), *named.values(), part.Face, *COAT_KINDS.values())
    models = {model.__name__: _table(model) for model in every if model not in COAT_KINDS.values()}
    models["DyeEntry"]["oneOf"] = [{"required": [key]} for key in _ONE_OF_DYE]
    bare = {key: value for key, value in models["Base"].items() if key != "required"}
    return {
        "$schema": DIALECT,
        "title": f"Scheme of a finish, format {FORMAT_VERSION}",
        **top,
        "properties": {**top["properties"], **dict(sorted(tables.items()))},
        "required": [*top["required"], "face", "base"],
        "$defs": dict(sorted({**models, "Coat": _coat(), "BaseOfFace": bare}.items())),
    }


def _coat() -> dict[str, Any]:
    """One table for all kinds of coat, each kept to its own fields: so an editor says which field is wrong."""
    own = {kind: {field.key: field for field in fields_of(model)} for kind, model in COAT_KINDS.items()}
    every = {key: field for fields in own.values() for key, field in fields.items()}
    return {
        "type": "object",
        "additionalProperties": False,
        "properties": {key: _property(field) for key, field in sorted(every.items())},
        "oneOf": [{"required": [kind]} for kind in own],
        "allOf": [
            {
                "if": {"required": [kind]},
                "then": {
                    "properties": dict.fromkeys(sorted(set(every) - set(fields)), False),
                    "required": [key for key, field in fields.items() if field.required],
                },
            }
            for kind, fields in own.items()
        ],
    }


def _table(model: type[BaseModel]) -> dict[str, Any]:
    fields = list(fields_of(model))
    return {
        "type": "object",
        "additionalProperties": False,
        "properties": {field.key: _property(field) for field in fields},
        "required": [field.key for field in fields if field.required],
    }


def _property(field: Field) -> dict[str, Any]:
    return {"description": f"{field.does} Takes: {field.wants}.", "examples": [field.example], **field.schema}


def _ref(model: type[BaseModel]) -> dict[str, Any]:
    return {"$ref": f"#/$defs/{model.__name__}"}


def _models(*models: type[BaseModel]) -> Iterator[type[BaseModel]]:
    """Yield the models and all tables in them."""
    for model in models:
        yield model
        inner = (model_in(info.annotation) for info in model.model_fields.values())
        yield from _models(*(found for found in inner if found is not None))


def _taken(info: FieldInfo) -> tuple[str, Mapping[str, Any]]:
    """Return what a field takes, in words and as JSON Schema."""
    inner = model_in(info.annotation)
    if inner is not None:
        one = _ref(inner)
        if "tuple" not in str(info.annotation):
            return "a table", one
        several = {"type": "array", "items": one}
        if any(isinstance(kind, BeforeValidator) for kind in info.metadata):
            return "a table, or a list of them", {"anyOf": [one, {**several, "minItems": 1}]}
        return "a list of tables", several
    check = _check_in(info.annotation, info.metadata)
    if check is f.path:
        return "a file, seen from the scheme's folder", TEXT
    if isinstance(check, Check):
        return check.wants, check.schema
    values = _check_in(_value_type(info.annotation), ())
    assert isinstance(values, Check)
    return f"a table: for each name a {values.wants}", {"type": "object", "additionalProperties": values.schema}


def _check_in(annotation: Any, metadata: Any) -> Any:
    """The function that checks a field; it may stand within a union with None."""
    for kind in (*metadata, *getattr(annotation, "__metadata__", ())):
        if isinstance(kind, PlainValidator):
            return kind.func
    if _value_type(annotation) is not None:
        return None
    found = (_check_in(inner, ()) for inner in get_args(annotation))
    return next((check for check in found if check is not None), None)


def _value_type(annotation: Any) -> Any:
    """The type of the values of a dictionary; None of anything else."""
    return get_args(annotation)[1] if get_origin(annotation) is dict else None
