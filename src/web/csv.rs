//! Tables as CSV (RFC 4180): the members of the API's rows are the columns, units in their names.

use super::Shown;
use crate::kernel::Problem;
use serde_json::Value;

/// Text as a cell: what a spreadsheet would take for a formula is made text (OWASP, CSV injection).
fn cell(value: &Value) -> String {
    match value {
        Value::String(text) if text.starts_with(['=', '+', '-', '@', '\t', '\r']) => format!("'{text}"),
        Value::String(text) => text.clone(),
        Value::Null => String::new(),
        other => other.to_string(),
    }
}

/// Members of a row that are single values, with those of objects inside it.
fn flat(row: &Value, before: &str, out: &mut Vec<(String, String)>) {
    for (name, value) in row.as_object().into_iter().flatten() {
        let name = format!("{before}{name}");
        match value {
            Value::Object(_) => flat(value, &format!("{name}_"), out),
            Value::Array(_) => {}
            single => out.push((name, cell(single))),
        }
    }
}

/// The rows of a report as a file.
///
/// # Errors
/// Internal, when it cannot be written.
pub fn table(name: &str, rows: &Value) -> Result<Shown, Problem> {
    let rows: Vec<Vec<(String, String)>> = rows
        .as_array()
        .into_iter()
        .flatten()
        .map(|row| {
            let mut cells = Vec::new();
            flat(row, "", &mut cells);
            cells
        })
        .collect();
    let mut heads: Vec<&str> = Vec::new();
    for (head, _) in rows.iter().flatten() {
        if !heads.contains(&head.as_str()) && head != "href" && !head.ends_with("_href") {
            heads.push(head);
        }
    }
    let mut out = ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(Vec::new());
    if !heads.is_empty() {
        out.write_record(&heads).map_err(Problem::internal)?;
    }
    for row in &rows {
        let cells = heads.iter().map(|head| row.iter().find(|(name, _)| name == head).map_or("", |(_, cell)| cell.as_str()));
        out.write_record(cells).map_err(Problem::internal)?;
    }
    let bytes = out.into_inner().map_err(Problem::internal)?;
    Ok(Shown::csv(name, String::from_utf8(bytes).map_err(Problem::internal)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn what_would_be_a_formula_is_text_and_numbers_stay_numbers() {
        let rows = json!([{"level": "=1+1", "n": -3, "said": "a \"b\", c\nd", "rate": {"low": 0.5}, "behind": [1]}, {"n": 2, "late": true}]);
        let text = table("x", &rows).unwrap().html;
        assert_eq!(text, "level,n,said,rate_low,late\r\n'=1+1,-3,\"a \"\"b\"\", c\nd\",0.5,\r\n,2,,,true\r\n");
        assert_eq!(table("x", &json!([])).unwrap().html, "");
    }
}
