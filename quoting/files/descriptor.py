"""Every table and column described for others: a Data Package with Table Schemas.

Source:
    Data Package and Table Schema (Open Knowledge Foundation): an open standard for
    tables in CSV files; ``fieldsMatch`` is of its version 2.
"""

import json
from collections.abc import Mapping
from typing import Any

from quoting.domain.rates import TABLES
from quoting.domain.tables import Column, Table


def descriptor_json(tax: str = "one_rate") -> str:
    """Return the descriptor of a folder of rate tables as JSON text.

    Args:
        tax: which table of the folder ``tax`` is meant.
    """
    package = {
        "profile": "tabular-data-package",
        "name": "rate-tables",
        "title": "Rate tables of a workshop that machines engine cylinder heads",
        "resources": [_resource(table, tax) for table in TABLES.values()],
    }
    return json.dumps(package, ensure_ascii=False, indent=1)


def _resource(table: Table[Any], tax: str) -> Mapping[str, Any]:
    path = f"tax/{tax}.csv" if table.name == "tax_codes" else table.file
    columns = table.columns()
    keys = [name for name, column in columns.items() if column.key]
    schema: dict[str, Any] = {
        "fields": [
            _field(name, column, required=name in table.required())
            for name, column in columns.items()
        ],
        "fieldsMatch": "superset",  # by name; a file may leave columns out
        "missingValues": [""],
    }
    if keys:
        schema["primaryKey"] = keys
    return {
        "profile": "tabular-data-resource",
        "name": table.name.replace("_", "-"),
        "title": table.about,
        "path": path,
        "encoding": "utf-8",
        "schema": schema,
    }


def _field(name: str, column: Column, *, required: bool) -> Mapping[str, Any]:
    kind = column.kind
    field: dict[str, Any] = {
        "name": name,
        "type": kind.type,
        "description": f"{column.about} ({kind.allowed})",
    }
    constraints: dict[str, Any] = {"required": True} if required else {}
    if kind.choices:
        constraints["enum"] = list(kind.choices)
    if constraints:
        field["constraints"] = constraints
    return field
