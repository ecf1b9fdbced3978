"""Checks JSON files against a schema of docs/schemas with the registry's validator:
check_schema.py SCHEMA.json FILE..."""
import json
import pathlib
import sys

import jsonschema

folder = pathlib.Path(__file__).resolve().parents[2] / "docs" / "schemas"
schemas = {file.name: json.loads(file.read_text()) for file in folder.glob("*.schema.json")}
schema = schemas[sys.argv[1]]
resolver = jsonschema.RefResolver.from_schema(schema, store=schemas)
validator = jsonschema.Draft202012Validator(schema, resolver=resolver)
for name in sys.argv[2:]:
    validator.validate(json.loads(pathlib.Path(name).read_text(encoding="utf-8")))
