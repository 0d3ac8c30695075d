//! Any table, row by row: for what must look at all of them alike.

use super::{Cell, Read, Row};
use crate::kernel::Problem;
use serde_json::Value;

/// How a column is written.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Form {
    /// Sixteen bytes as a UUID.
    Uuid,
    /// Text that is JSON, as that JSON.
    Json,
}

/// A column: its name, its type as declared, and its place in the key, 0 for none.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Column {
    /// Its name.
    pub name: String,
    /// Its type as declared.
    pub kind: String,
    key: i64,
}

/// A table of the schema.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Table {
    /// Its name.
    pub name: String,
    /// Its columns, in the order in which they were declared.
    pub columns: Vec<Column>,
}

/// Every table, by name.
///
/// # Errors
/// As the database says.
pub async fn all<R: Read>(read: &mut R) -> Result<Vec<Table>, Problem> {
    let sql = "SELECT m.name, c.name, c.type, c.pk FROM sqlite_schema m JOIN pragma_table_info(m.name) c \
               WHERE m.type = 'table' AND m.name NOT LIKE 'sqlite\\_%' ESCAPE '\\' ORDER BY m.name, c.cid";
    let mut out: Vec<Table> = Vec::new();
    for row in read.fetch(sql, vec![]).await? {
        let name = row.text(0)?;
        let column = Column { name: row.text(1)?, kind: row.text(2)?, key: row.int(3)? };
        match out.last_mut() {
            Some(table) if table.name == name => table.columns.push(column),
            _ => out.push(Table { name, columns: vec![column] }),
        }
    }
    Ok(out)
}

impl Table {
    /// The columns that order it: its key, or the row's own number.
    fn order(&self) -> Vec<&str> {
        let mut key: Vec<&Column> = self.columns.iter().filter(|c| c.key > 0).collect();
        key.sort_by_key(|c| c.key);
        if key.is_empty() { vec!["rowid"] } else { key.iter().map(|c| c.name.as_str()).collect() }
    }

    /// A row as one JSON object; bytes in hexadecimal where no form says otherwise.
    fn object(&self, forms: &[(&str, &str, Form)]) -> String {
        let member = |column: &Column| {
            let name = &column.name;
            let form = forms.iter().find(|(table, of, _)| *table == self.name && of == name).map(|(.., form)| *form);
            let value = match form {
                Some(Form::Uuid) => format!(
                    "lower(substr(hex(\"{name}\"), 1, 8) || '-' || substr(hex(\"{name}\"), 9, 4) || '-' || \
                     substr(hex(\"{name}\"), 13, 4) || '-' || substr(hex(\"{name}\"), 17, 4) || '-' || substr(hex(\"{name}\"), 21))"
                ),
                Some(Form::Json) => format!("json(\"{name}\")"),
                None if column.kind == "BLOB" => format!("lower(hex(\"{name}\"))"),
                None => format!("\"{name}\""),
            };
            format!("'{name}', {value}")
        };
        format!("json_object({})", self.columns.iter().map(member).collect::<Vec<_>>().join(", "))
    }

    /// So many rows after a place in the table's order, each as the text of a JSON object, and
    /// the place of the last of them; no place once there are no more.
    ///
    /// # Errors
    /// As the database says.
    pub async fn page<R: Read>(
        &self,
        read: &mut R,
        forms: &[(&str, &str, Form)],
        after: Option<&[Value]>,
        at_once: i64,
    ) -> Result<(Vec<String>, Option<Vec<Value>>), Problem> {
        let order = self.order().iter().map(|c| format!("\"{c}\"")).collect::<Vec<_>>().join(", ");
        let marks = vec!["?"; self.order().len()].join(", ");
        let (condition, mut args) = match after {
            None => (String::new(), Vec::new()),
            Some(place) => (format!(" WHERE ({order}) > ({marks})"), place.iter().map(cell).collect::<Result<_, _>>()?),
        };
        args.push(at_once.into());
        let (object, name) = (self.object(forms), &self.name);
        let sql = format!("SELECT {object}, json_array({order}) FROM \"{name}\"{condition} ORDER BY {order} LIMIT ?");
        let rows: Vec<Row> = read.fetch(&sql, args).await?;
        let last = rows.last().map(|row| row.text(1)).transpose()?;
        let place = last.map(|text| serde_json::from_str(&text)).transpose().map_err(Problem::internal)?;
        Ok((rows.iter().map(|row| row.text(0)).collect::<Result<_, _>>()?, place))
    }
}

/// A part of a place: keys are whole numbers and text.
fn cell(value: &Value) -> Result<Cell, Problem> {
    match (value.as_i64(), value.as_str()) {
        (Some(number), _) => Ok(Cell::Int(number)),
        (None, Some(text)) => Ok(Cell::from(text)),
        (None, None) => Err(Problem::internal(format!("a table is ordered by {value}"))),
    }
}
