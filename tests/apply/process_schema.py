"""What OGC API - Processes asks of a process description, as JSON Schema.

Written anew for these tests from the requirements of the standard, not copied: OGC API -
Processes - Part 1: Core 1.0 (OGC 18-062r2), clause 7.10 and requirements class "OGC Process
Description" (tables of the process, input and output description), whose OpenAPI definition allows
the members of a value's schema that are listed here and no others.
"""

_TEXT = {"type": "string"}
_COUNT = {"type": "integer", "minimum": 0}

VALUE = {
    "$id": "value",
    "type": "object",
    "properties": {
        "title": _TEXT, "description": _TEXT, "format": _TEXT, "pattern": _TEXT,
        "contentMediaType": _TEXT, "contentEncoding": _TEXT, "contentSchema": _TEXT,
        "type": {"enum": ["array", "boolean", "integer", "number", "object", "string"]},
        "enum": {"type": "array", "minItems": 1},
        "minimum": {"type": "number"}, "maximum": {"type": "number"},
        "exclusiveMinimum": {"type": "boolean"}, "exclusiveMaximum": {"type": "boolean"},
        "minLength": _COUNT, "maxLength": _COUNT, "minItems": _COUNT, "maxItems": _COUNT,
        "items": {"$ref": "value"},
        "oneOf": {"type": "array", "items": {"$ref": "value"}},
        "properties": {"type": "object", "additionalProperties": {"$ref": "value"}},
        "default": True, "example": True, "nullable": {"type": "boolean"},
    },
    "additionalProperties": False,
}  # fmt: skip
_DESCRIBED = {"title": _TEXT, "description": _TEXT}
INPUT = {
    "type": "object",
    "required": ["schema"],
    "properties": {
        **_DESCRIBED,
        "schema": VALUE,
        "minOccurs": {"type": "integer", "minimum": 0},
        "maxOccurs": {"oneOf": [{"type": "integer", "minimum": 1}, {"const": "unbounded"}]},
    },
    "additionalProperties": False,
}
OUTPUT = {
    "type": "object",
    "required": ["schema"],
    "properties": {**_DESCRIBED, "schema": VALUE},
    "additionalProperties": False,
}
PROCESS = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "required": ["id", "version", "inputs", "outputs", "jobControlOptions", "outputTransmission"],
    "properties": {
        **_DESCRIBED,
        "id": {"type": "string", "pattern": "^[A-Za-z0-9._-]+$"},
        "version": {"type": "string", "minLength": 1},
        "jobControlOptions": {
            "type": "array",
            "items": {"enum": ["sync-execute", "async-execute", "dismiss"]},
        },
        "outputTransmission": {"type": "array", "items": {"enum": ["value", "reference"]}},
        "inputs": {"type": "object", "additionalProperties": INPUT},
        "outputs": {"type": "object", "minProperties": 1, "additionalProperties": OUTPUT},
    },
    "additionalProperties": False,
}
