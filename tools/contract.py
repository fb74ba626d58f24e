#!/usr/bin/env python3
"""tools/contract.py: writes the snapshot of output fields that tests/survey/test_fields.py holds the code against.

Run it only when the public contract is meant to grow, and read the difference before committing.
"""
from __future__ import annotations

import importlib.util
import json
import pathlib

ROOT = pathlib.Path(__file__).resolve().parents[1]


def main():
    spec = importlib.util.spec_from_file_location("fields", ROOT / "survey" / "fields.py")
    fields = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(fields)
    layers = {name: [f"{field.name} {field.kind}" for field in value] for name, value in sorted(vars(fields).items())
              if name.isupper() and not name.startswith("_")}
    target = ROOT / "tests" / "survey" / "contract_fields.json"
    target.write_text(json.dumps(layers, indent=1) + "\n", encoding="utf-8")
    print(f"{target}: {len(layers)} layers")


if __name__ == "__main__":
    main()
