#!/usr/bin/env python3
"""Writes core/src/archive/job.schema.json, the JSON Schema (2020-12) of job.json.

The shapes and the descriptions are those of the Rust types that job.json is written from: their
fields, their serde attributes, their documentation. What a type's documentation leaves out, the
table FIELDS below says. Whether real jobs follow the schema is checked by tests/outside/archive.py,
with the package jsonschema.

Usage: tests/outside/schema.py [--check]

--check compares instead of writing, and fails where the file is not what would be written.
"""

import json
import re
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TARGET = ROOT / "core/src/archive/job.schema.json"
FOLDERS = ["core/src", "core/geometry/src", "core/sheet/src", "core/photo/src"]

# Fields whose names say all there is to say in the code.
FIELDS = json.loads((Path(__file__).with_name("schema_fields.json")).read_text())

STRING = {"type": "string"}
SIMPLE = {
    "String": STRING, "str": STRING, "bool": {"type": "boolean"}, "char": STRING,
    "f64": {"type": "number"}, "f32": {"type": "number"},
    "i64": {"type": "integer"}, "i32": {"type": "integer"}, "i16": {"type": "integer"},
    "i8": {"type": "integer"}, "Value": {},
    "DateTime": STRING, "Timestamp": STRING, "Offset": STRING, "SignedDuration": STRING,
    "PictureHash": STRING, "OffsetText": STRING, "Point": {}, "Uuid": STRING,
    "Vec3": {"type": "array", "items": {"type": "number"}, "minItems": 3, "maxItems": 3},
    "Mat3": {"type": "array"},
}
for unsigned in ["usize", "u64", "u32", "u16", "u8"]:
    SIMPLE[unsigned] = {"type": "integer", "minimum": 0}


def module_of(path):
    return path.stem if path.stem not in ("mod", "lib") else path.parent.name


class Source:
    """All types of the crates, by name and file."""

    def __init__(self):
        self.types = {}
        self.uses = {}
        for folder in FOLDERS:
            for path in sorted((ROOT / folder).rglob("*.rs")):
                self.read(path)

    def read(self, path):
        text = path.read_text()
        text = text.split("#[cfg(test)]\nmod tests")[0]
        self.uses[path] = uses(text)
        start = re.compile(r"^pub(?:\([a-z: ]+\))? (struct|enum) (\w+)(?:<([^>{]*)>)?\s*([{(;])")
        lines = text.split("\n")
        for number, line in enumerate(lines):
            found = start.match(line)
            if not found:
                continue
            kind, name, generics, opens = found.groups()
            first = number
            while first > 0 and re.match(r"(///|#\[|\)\]| {4,})", lines[first - 1]):
                first -= 1
            head = "\n".join(lines[first:number]) + "\n"
            body = tuple_body = None
            if opens == "(":
                tuple_body = line[found.end():].split(");")[0]
            elif opens == "{":
                end = number
                while not lines[end].startswith("}") and not lines[end].endswith("{}"):
                    end += 1
                body = "\n".join(lines[number + 1:end]) + "\n"
            else:
                continue
            self.types.setdefault(name, []).append({
                "path": path, "kind": kind, "name": name, "generics": generics or "",
                "doc": doc(head), "serde": serde(head), "body": body, "tuple": tuple_body,
                "serialize": "Serialize" in head,
            })
        # type aliases
        for name, target in re.findall(r"^pub type (\w+) = ([^;]+);", text, re.M):
            self.types.setdefault(name, []).append({
                "path": path, "kind": "alias", "name": name, "target": target, "doc": "",
                "generics": "", "serde": {}, "serialize": True})

    def find(self, name, path, qualifier=None):
        all_of = self.types.get(name, [])
        if not all_of:
            return None
        if qualifier is None:
            for one in all_of:
                if one["path"] == path:
                    return one
            qualifier = self.uses.get(path, {}).get(name)
        if qualifier:
            parts = [p for p in qualifier.split("::") if p not in ("crate", "self", "super")]
            def score(one):
                place = one["path"].relative_to(ROOT).with_suffix("").as_posix()
                place = place.replace("-", "_").split("/")
                return sum(part.replace("datumtrail_", "") in place for part in parts)
            return max(all_of, key=score)
        near = [one for one in all_of if one["path"].parent == path.parent]
        return (near or [one for one in all_of if one["serialize"]] or all_of)[0]


def uses(text):
    """Imported names, each with the path it comes from."""
    found = {}

    def walk(prefix, rest):
        rest = rest.strip()
        if rest.endswith("}"):
            head, inner = rest.split("{", 1)
            depth, part = 0, ""
            for letter in inner[:-1] + ",":
                if letter == "," and depth == 0:
                    if part.strip():
                        walk(prefix + head, part)
                    part = ""
                else:
                    depth += (letter == "{") - (letter == "}")
                    part += letter
        else:
            name = rest.split("::")[-1].split(" as ")[-1].strip()
            found[name] = (prefix + rest).rsplit("::", 1)[0]

    for statement in re.findall(r"^(?:pub(?:\([a-z]+\))? )?use ([^;]+);", text, re.M):
        walk("", re.sub(r"\s+", " ", statement))
    return found


def doc(head):
    lines = re.findall(r"^\s*/// ?(.*)$", head, re.M)
    text = " ".join(line.strip() for line in lines if line.strip())
    text = re.sub(r"\[`([^`]*)`\](?:\([^)]*\))?", r"\1", text).replace("`", "")
    # The first paragraph up to a table or a heading.
    return re.split(r" \| | # ", text)[0].strip()


def serde(head):
    found = {}
    for attributes in re.findall(r"#\[serde\((.*?)\)\]", head, re.S):
        for part in re.findall(r'(\w+)(?: = "([^"]*)")?', attributes):
            found[part[0]] = part[1] or True
    return found


def split(text):
    """Splits at commas outside brackets."""
    parts, depth, part = [], 0, ""
    for letter in text:
        if letter == "," and depth == 0:
            parts.append(part.strip())
            part = ""
            continue
        depth += (letter in "<[({") - (letter in ">])}")
        part += letter
    if part.strip():
        parts.append(part.strip())
    return parts


def fields(body):
    """Name, type, documentation and attributes of each field."""
    pattern = re.compile(
        r"((?:\s*///.*\n|\s*#\[(?:[^\[\]]|\[[^\]]*\])*\]\n?)*)\s*(?:pub(?:\([a-z: ]+\))? )?(r#)?(\w+):\s*", re.M)
    at, found = 0, []
    while True:
        match = pattern.match(body, at)
        if not match:
            return found
        depth, end = 0, match.end()
        while end < len(body) and not (body[end] == "," and depth == 0):
            depth += (body[end] in "<[({") - (body[end] in ">])}")
            end += 1
        found.append((match[3], body[match.end():end].strip(), doc(match[1]), serde(match[1])))
        at = end + 1


def variants(body):
    pattern = re.compile(
        r"((?:\s*///.*\n|\s*#\[.*\]\n)*)\s*(\w+)\s*(\{(?:[^{}]|\{[^}]*\})*\}|\((?:[^()]|\([^)]*\))*\))?,?",
        re.M)
    found, at = [], 0
    body = re.sub(r"^\s*//(?!/).*\n", "", body, flags=re.M)
    # What an error says on a screen may run over many lines.
    body = re.sub(r'\s*#\[error\((?:"(?:[^"\\]|\\.)*"|[^"])*?\)\]\n', "\n", body, flags=re.S)
    while True:
        match = pattern.match(body, at)
        if not match:
            return found
        found.append((match[2], match[3], doc(match[1]), serde(match[1])))
        at = match.end()


def cased(name, rule):
    if rule == "snake_case":
        return re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()
    if rule == "kebab-case":
        return re.sub(r"(?<!^)(?=[A-Z])", "-", name).lower()
    if rule == "lowercase":
        return name.lower()
    return name


class Schema:
    def __init__(self):
        self.source = Source()
        self.defs = {}
        self.undocumented = []

    def of(self, text, path, generics=None):
        """The schema of a type as the code writes it."""
        text = re.sub(r"&?'\w+ |&(?:mut )?", "", text.strip()).replace("'static ", "").strip()
        generics = generics or {}
        if text in generics:
            return self.of(*generics[text])
        if text.startswith("("):
            parts = [self.of(part, path, generics) for part in split(text[1:-1])]
            return {"type": "array", "prefixItems": parts, "minItems": len(parts),
                    "maxItems": len(parts)}
        if text.startswith("["):
            inner = text[1:-1]
            if ";" in inner:
                inner, size = inner.rsplit(";", 1)
                items = {"type": "array", "items": self.of(inner, path, generics)}
                if size.strip().isdigit():
                    items |= {"minItems": int(size), "maxItems": int(size)}
                return items
            return {"type": "array", "items": self.of(inner, path, generics)}
        match = re.match(r"([\w:]+)(?:<(.*)>)?$", text, re.S)
        if not match:
            sys.exit(f"{path}: the type {text} is not understood")
        name, inner = match[1].split("::"), match[2]
        qualifier, name = "::".join(name[:-1]) or None, name[-1]
        arguments = [a for a in split(inner or "") if not a.startswith("'")]
        if name == "Option":
            return nullable(self.of(arguments[0], path, generics))
        if name in ("Vec", "BTreeSet", "HashSet"):
            return {"type": "array", "items": self.of(arguments[0], path, generics)}
        if name in ("BTreeMap", "HashMap"):
            return {"type": "object", "additionalProperties": self.of(arguments[1], path, generics)}
        if name in ("Box", "Cow", "Arc"):
            return self.of(arguments[-1], path, generics)
        found = self.source.find(name, path, qualifier)
        if found and found["kind"] == "alias" and name not in SIMPLE:
            return self.of(found["target"], found["path"], generics)
        if name in SIMPLE:
            return dict(SIMPLE[name])
        if not found:
            sys.exit(f"{path}: there is no type {text}")
        return self.reference(found, [(a, path, generics) for a in arguments])

    def reference(self, found, arguments):
        label = found["name"]
        others = [one for one in self.source.types[label] if one["serialize"]]
        if len(others) > 1:
            label = f"{module_of(found['path'])}.{label}"
        if arguments:
            label += "Of" + re.sub(r"\W+", "", arguments[0][0].split("::")[-1])
        if label not in self.defs:
            self.defs[label] = {}
            self.defs[label] = self.define(found, arguments)
        return {"$ref": f"#/$defs/{label}"}

    def define(self, found, arguments):
        path, rule = found["path"], found["serde"].get("rename_all")
        names = [g.split(":")[0].strip() for g in split(found["generics"]) if not g.startswith("'")]
        generics = dict(zip(names, arguments))
        about = {"description": found["doc"]} if found["doc"] else {}
        if found["name"] == "Checked":
            report = self.source.find("CheckReport", path)
            why = {"type": "object", "required": ["impossible"], "additionalProperties": False,
                   "properties": {"impossible": {**STRING, "description": "Why not."}}}
            return {**about, "anyOf": [self.reference(report, []), why]}
        if found["kind"] == "struct" and found["tuple"] is not None:
            inner = split(re.sub(r"pub(\([a-z]+\))? ", "", found["tuple"]))
            return {**about, **self.of(inner[0], path, generics)}
        if found["kind"] == "struct":
            return {**about, **self.object(found["name"], fields(found["body"]), path, generics, rule)}
        return {**about, **self.choice(found, generics, rule)}

    def object(self, name, all_fields, path, generics, rule=None):
        properties, required = {}, []
        for field, of, said, attributes in all_fields:
            if "skip" in attributes or "skip_serializing" in attributes:
                continue
            if "flatten" in attributes:
                inner = self.of(of, path, generics)
                inner = self.defs[inner["$ref"].rsplit("/", 1)[1]]
                properties |= inner["properties"]
                required += inner.get("required", [])
                continue
            field = attributes.get("rename", cased(field, rule) if rule else field)
            schema = STRING if attributes.get("with") else self.of(of, path, generics)
            if attributes.get("with", "").endswith("optional"):
                schema = nullable(schema)
            said = said or FIELDS.get(f"{name}.{field}") or FIELDS.get(field)
            if not said:
                self.undocumented.append(f"{name}.{field}")
            properties[field] = {**schema, "description": said or ""}
            if "skip_serializing_if" not in attributes:
                required.append(field)
        return {"type": "object", "properties": properties, "required": sorted(set(required)),
                "additionalProperties": False}

    def choice(self, found, generics, rule):
        path, tag = found["path"], found["serde"].get("tag")
        words, said, shapes = [], [], []
        for name, body, about, attributes in variants(found["body"]):
            if "skip" in attributes:
                continue
            word = attributes.get("rename", cased(name, rule))
            if body is None and not tag:
                words.append(word)
                said.append(f"{word}: {about}" if about else word)
                continue
            if body is None:
                inner = {"type": "object", "properties": {}, "required": [],
                         "additionalProperties": False}
            elif body.startswith("{"):
                inner = self.object(f"{found['name']}.{name}", fields(body[1:-1]), path, generics)
            else:
                parts = split(body[1:-1])
                inner = self.of(parts[0], path, generics) if len(parts) == 1 else \
                    self.of(f"({', '.join(parts)})", path, generics)
            if tag:
                inner = dict(inner)
                if "$ref" in inner:
                    inner = dict(self.defs[inner["$ref"].rsplit("/", 1)[1]])
                inner["properties"] = {
                    tag: {"const": word, "description": "Which of them."}, **inner["properties"]}
                inner["required"] = sorted([tag, *inner["required"]])
                shapes.append({**({"description": about} if about else {}), **inner})
            else:
                shapes.append({"type": "object", "required": [word], "additionalProperties": False,
                               "properties": {word: {**inner, "description": about or word}}})
        if words:
            listed = {"type": "string", "enum": words}
            if len(said) and any(": " in s for s in said):
                listed["description"] = "; ".join(s.rstrip(".") for s in said) + "."
            shapes.append(listed)
        if len(shapes) == 1:
            shape = shapes[0]
            if found["doc"] and "description" in shape:
                shape = {**shape, "description": f"{found['doc']} {shape['description']}"}
                found["doc"] = ""
                about = shape
            return shape
        return {"anyOf": shapes}

    def whole(self):
        story = self.source.find("Story", ROOT / "core/src/archive/story/mod.rs")
        view = self.source.find("JobView", ROOT / "core/src/job/view.rs")
        root = self.define(story, [])
        root["properties"]["records"] = {**self.reference(view, []), "description":
                                         "Every record as it stands in the document."}
        root["required"].append("records")
        return {
            "$schema": "https://json-schema.org/draft/2020-12/schema",
            "$id": "urn:datumtrail:job-story:1",
            "title": "job.json of a Datumtrail archive",
            **root,
            "$defs": dict(sorted(self.defs.items())),
        }


def nullable(schema):
    if "$ref" in schema or "anyOf" in schema or not schema:
        return {"anyOf": [schema, {"type": "null"}]} if schema else {}
    if isinstance(schema.get("type"), str) and "enum" not in schema:
        return {**schema, "type": [schema["type"], "null"]}
    return {"anyOf": [schema, {"type": "null"}]}


def main():
    schema = Schema()
    text = json.dumps(schema.whole(), indent=1, ensure_ascii=False) + "\n"
    if schema.undocumented:
        print("without a description:", *sorted(set(schema.undocumented)), sep="\n  ")
        sys.exit(1)
    if sys.argv[1:] == ["--check"]:
        same = TARGET.exists() and TARGET.read_text() == text
        print("the schema is the code's" if same else "the schema is not the code's: run schema.py")
        sys.exit(0 if same else 1)
    TARGET.write_text(text)
    print(f"{TARGET.relative_to(ROOT)}: {len(schema.defs)} types, {len(text)} bytes")


if __name__ == "__main__":
    main()
