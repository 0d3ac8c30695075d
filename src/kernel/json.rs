//! Reading JSON strictly: no member twice, no number that is not finite.

use super::problem::{Problem, ProblemType};
use serde::de::{DeserializeSeed, Deserializer, Error as _, MapAccess, SeqAccess, Visitor};
use serde_json::{Map, Number, Value};
use std::fmt;

/// Reads one JSON document.
///
/// # Errors
/// `malformed` for anything that is not JSON in UTF-8 or nests more than 128 deep,
/// `duplicate-key` for an object that names a member twice.
pub fn parse(bytes: &[u8]) -> Result<Value, Problem> {
    let text =
        std::str::from_utf8(bytes).map_err(|e| Problem::new(ProblemType::Malformed, format!("The body is not UTF-8: {e}.")))?;
    let mut reader = serde_json::Deserializer::from_str(text);
    let value = Strict.deserialize(&mut reader).and_then(|v| reader.end().map(|()| v));
    value.map_err(|e| {
        let said = e.to_string();
        match said.strip_prefix(TWICE) {
            Some(rest) => Problem::new(ProblemType::DuplicateKey, format!("Named twice: {rest}.")),
            None => Problem::new(ProblemType::Malformed, format!("The body is not valid JSON: {said}.")),
        }
    })
}

const TWICE: &str = "member twice: ";

struct Strict;

impl<'de> DeserializeSeed<'de> for Strict {
    type Value = Value;
    fn deserialize<D: Deserializer<'de>>(self, deserializer: D) -> Result<Value, D::Error> {
        deserializer.deserialize_any(self)
    }
}

impl<'de> Visitor<'de> for Strict {
    type Value = Value;
    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("a JSON value")
    }
    fn visit_bool<E>(self, v: bool) -> Result<Value, E> {
        Ok(Value::Bool(v))
    }
    fn visit_i64<E>(self, v: i64) -> Result<Value, E> {
        Ok(v.into())
    }
    fn visit_u64<E>(self, v: u64) -> Result<Value, E> {
        Ok(v.into())
    }
    fn visit_f64<E: serde::de::Error>(self, v: f64) -> Result<Value, E> {
        Number::from_f64(v).map(Value::Number).ok_or_else(|| E::custom("number is not finite"))
    }
    fn visit_str<E>(self, v: &str) -> Result<Value, E> {
        Ok(v.into())
    }
    fn visit_unit<E>(self) -> Result<Value, E> {
        Ok(Value::Null)
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Value, A::Error> {
        let mut out = Vec::new();
        while let Some(value) = seq.next_element_seed(Strict)? {
            out.push(value);
        }
        Ok(Value::Array(out))
    }
    fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Value, A::Error> {
        let mut out = Map::new();
        while let Some(key) = map.next_key::<String>()? {
            let value = map.next_value_seed(Strict)?;
            if out.contains_key(&key) {
                return Err(A::Error::custom(format!("{TWICE}{key}")));
            }
            out.insert(key, value);
        }
        Ok(Value::Object(out))
    }
}

/// RFC 7396: `patch` applied to `target`.
pub fn merge_patch(target: &mut Value, patch: &Value) {
    let Value::Object(patch) = patch else {
        *target = patch.clone();
        return;
    };
    if !target.is_object() {
        *target = Value::Object(Map::new());
    }
    if let Value::Object(members) = target {
        for (name, change) in patch {
            if change.is_null() {
                members.shift_remove(name);
            } else {
                merge_patch(members.entry(name.clone()).or_insert(Value::Null), change);
            }
        }
    }
}

/// The exact decimal value of `number` times 10^`places`, rounded half to even.
/// `None` beyond 128 bits. The decimal meant is the shortest that reads as this number.
#[must_use]
pub fn scaled(number: &Number, places: usize) -> Option<i128> {
    if let Some(whole) = number.as_i64() {
        return i128::from(whole).checked_mul(10_i128.checked_pow(u32::try_from(places).ok()?)?);
    }
    let value = number.as_f64()?;
    if value.abs() >= 1e24 {
        return None;
    }
    let text = format!("{}", value.abs());
    let (whole, part) = text.split_once('.').unwrap_or((&text, ""));
    let kept: String = part.chars().chain(std::iter::repeat('0')).take(places).collect();
    let mut out = format!("{whole}{kept}").parse::<i128>().ok()?;
    let dropped = part.get(places..).unwrap_or("");
    let rest = dropped.get(1..).unwrap_or("").bytes().any(|b| b != b'0');
    let up = match dropped.bytes().next() {
        Some(b'6'..=b'9') => true,
        Some(b'5') => rest || out % 2 != 0,
        _ => false,
    };
    out += i128::from(up);
    Some(if value < 0.0 { -out } else { out })
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn merge_patch_as_in_rfc_7396_appendix_a() {
        for (target, patch, want) in [
            (json!({"a":"b"}), json!({"a":"c"}), json!({"a":"c"})),
            (json!({"a":"b"}), json!({"b":"c"}), json!({"a":"b","b":"c"})),
            (json!({"a":"b"}), json!({"a":null}), json!({})),
            (json!({"a":"b","b":"c"}), json!({"a":null}), json!({"b":"c"})),
            (json!({"a":["b"]}), json!({"a":"c"}), json!({"a":"c"})),
            (json!({"a":"c"}), json!({"a":["b"]}), json!({"a":["b"]})),
            (json!({"a":{"b":"c"}}), json!({"a":{"b":"d","c":null}}), json!({"a":{"b":"d"}})),
            (json!({"a":[{"b":"c"}]}), json!({"a":[1]}), json!({"a":[1]})),
            (json!(["a", "b"]), json!(["c", "d"]), json!(["c", "d"])),
            (json!({"a":"b"}), json!(["c"]), json!(["c"])),
            (json!({"a":"foo"}), json!(null), json!(null)),
            (json!({"a":"foo"}), json!("bar"), json!("bar")),
            (json!({"e":null}), json!({"a":1}), json!({"e":null,"a":1})),
            (json!([1, 2]), json!({"a":"b","c":null}), json!({"a":"b"})),
            (json!({}), json!({"a":{"bb":{"ccc":null}}}), json!({"a":{"bb":{}}})),
        ] {
            let mut got = target.clone();
            merge_patch(&mut got, &patch);
            assert_eq!(got, want, "{target} with {patch}");
        }
    }

    #[test]
    fn decimals_scale_exactly() {
        let mg = |text: &str| scaled(&serde_json::from_str::<Number>(text).unwrap(), 6);
        assert_eq!(mg("26.45"), Some(26_450_000));
        assert_eq!(mg("0.0000005"), Some(0));
        assert_eq!(mg("0.0000015"), Some(2));
        assert_eq!(mg("0.00000050001"), Some(1));
        assert_eq!(mg("-1.25"), Some(-1_250_000));
        assert_eq!(mg("999999.999999"), Some(999_999_999_999));
        assert_eq!(mg("1e300"), None);
        assert_eq!(mg("7"), Some(7_000_000));
    }

    #[test]
    fn strict_reading() {
        let slug = |t: &[u8]| parse(t).unwrap_err().kind.slug();
        assert_eq!(slug(b"{\"a\":1,\"a\":2}"), "duplicate-key");
        assert_eq!(slug(b"{\"a\":1"), "malformed");
        assert_eq!(slug(b"{\"a\":NaN}"), "malformed");
        assert_eq!(slug(b"{\"a\":1e999}"), "malformed");
        assert_eq!(slug(b"\xff{}"), "malformed");
        assert_eq!(slug("[".repeat(10_000).as_bytes()), "malformed");
        assert_eq!(slug(b"{} {}"), "malformed");
        assert_eq!(parse(b"{\"a\":[1,2.5,null,true,\"x\"]}").unwrap(), json!({"a":[1,2.5,null,true,"x"]}));
    }
}
