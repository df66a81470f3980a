//! The few rules of JSON Schema (draft 2020-12) that our schemas use. A rule
//! not known here is a panic, so that no schema promises what nobody checks.

use serde_json::{Map, Value};

/// Everything in the document that the schema does not allow.
pub fn violations(schema: &Value, document: &Value) -> Vec<String> {
    let mut found = Vec::new();
    check(schema, schema, document, "$", &mut found);
    found
}

fn check(root: &Value, schema: &Value, value: &Value, at: &str, found: &mut Vec<String>) {
    let rules = schema.as_object().expect("a schema is an object");
    for (rule, wanted) in rules {
        match rule.as_str() {
            "$ref" => {
                let pointer = wanted.as_str().unwrap().strip_prefix('#').unwrap();
                check(
                    root,
                    root.pointer(pointer).expect(pointer),
                    value,
                    at,
                    found,
                );
            }
            "type" => {
                let types = wanted
                    .as_array()
                    .cloned()
                    .unwrap_or_else(|| vec![wanted.clone()]);
                if !types.iter().any(|t| is_a(value, t.as_str().unwrap())) {
                    found.push(format!("{at}: {value} is no {wanted}"));
                }
            }
            "const" if value != wanted => found.push(format!("{at}: {value} is not {wanted}")),
            "enum" if !wanted.as_array().unwrap().contains(value) => {
                found.push(format!("{at}: {value} is none of {wanted}"));
            }
            "minimum" if value.as_f64().is_some_and(|n| n < wanted.as_f64().unwrap()) => {
                found.push(format!("{at}: {value} is below {wanted}"));
            }
            "maximum" if value.as_f64().is_some_and(|n| n > wanted.as_f64().unwrap()) => {
                found.push(format!("{at}: {value} is above {wanted}"));
            }
            "format" => check_format(wanted.as_str().unwrap(), value, at, found),
            "items" => {
                for (index, item) in value.as_array().into_iter().flatten().enumerate() {
                    check(root, wanted, item, &format!("{at}[{index}]"), found);
                }
            }
            "properties" | "required" | "additionalProperties" => {}
            "const" | "enum" | "minimum" | "maximum" => {}
            "$schema" | "$id" | "title" | "description" | "$defs" => {}
            other => panic!("the schema uses {other:?}, which is not checked"),
        }
    }
    if let Some(object) = value.as_object() {
        check_members(root, rules, object, at, found);
    }
}

fn check_members(
    root: &Value,
    rules: &Map<String, Value>,
    object: &Map<String, Value>,
    at: &str,
    found: &mut Vec<String>,
) {
    let known = rules.get("properties").and_then(Value::as_object);
    for name in rules
        .get("required")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
    {
        if !object.contains_key(name.as_str().unwrap()) {
            found.push(format!("{at}: {name} is missing"));
        }
    }
    let strict = rules.get("additionalProperties") == Some(&Value::Bool(false));
    for (name, member) in object {
        match known.and_then(|known| known.get(name)) {
            Some(schema) => check(root, schema, member, &format!("{at}.{name}"), found),
            None if strict => found.push(format!("{at}: {name:?} is not in the schema")),
            None => {}
        }
    }
}

fn is_a(value: &Value, kind: &str) -> bool {
    match kind {
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        "integer" => value.is_i64() || value.is_u64(),
        "number" => value.is_number(),
        "string" => value.is_string(),
        "array" => value.is_array(),
        "object" => value.is_object(),
        other => panic!("no such type: {other}"),
    }
}

fn check_format(format: &str, value: &Value, at: &str, found: &mut Vec<String>) {
    let Some(text) = value.as_str() else { return };
    let good = match format {
        "date-time" => chrono::DateTime::parse_from_rfc3339(text).is_ok(),
        "date" => chrono::NaiveDate::parse_from_str(text, "%Y-%m-%d").is_ok(),
        other => panic!("no such format: {other}"),
    };
    if !good {
        found.push(format!("{at}: {text:?} is no {format}"));
    }
}
