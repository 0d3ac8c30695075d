//! Values in and out of SQL, and scripts of several statements sent as one call.

use crate::kernel::{Mass, Money, Problem};
use sqlx::Arguments as _;
use sqlx::sqlite::{SqliteArguments, SqliteRow};
use sqlx::{Column as _, Row as _, TypeInfo as _, ValueRef as _};

/// A value bound to a statement.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// NULL.
    Null,
    /// INTEGER.
    Int(i64),
    /// REAL.
    Real(f64),
    /// TEXT.
    Text(String),
    /// BLOB.
    Blob(Vec<u8>),
}

macro_rules! into_cell {
    ($($from:ty => |$v:ident| $into:expr;)*) => {
        $(impl From<$from> for Cell {
            fn from($v: $from) -> Self {
                $into
            }
        })*
    };
}
into_cell! {
    i64 => |v| Self::Int(v);
    i32 => |v| Self::Int(v.into());
    u32 => |v| Self::Int(v.into());
    bool => |v| Self::Int(v.into());
    f64 => |v| Self::Real(v);
    &str => |v| Self::Text(v.to_owned());
    String => |v| Self::Text(v);
    &String => |v| Self::Text(v.clone());
    Vec<u8> => |v| Self::Blob(v);
    &[u8] => |v| Self::Blob(v.to_vec());
    [u8; 32] => |v| Self::Blob(v.to_vec());
    uuid::Uuid => |v| Self::Blob(v.as_bytes().to_vec());
    Mass => |v| Self::Int(v.mg());
    Money => |v| Self::Int(v.minor());
    crate::kernel::Instant => |v| Self::Int(v.ms());
}
impl<T: Into<Self>> From<Option<T>> for Cell {
    fn from(value: Option<T>) -> Self {
        value.map_or(Self::Null, Into::into)
    }
}

/// A question: a statement that reads, with its values.
#[derive(Clone, Debug)]
pub struct Ask {
    /// The statement.
    pub sql: &'static str,
    /// Its values.
    pub args: Vec<Cell>,
}

/// A row of an answer; every read says which column failed.
pub struct Row(pub(super) SqliteRow);

impl Row {
    fn get<'r, T>(&'r self, i: usize) -> Result<T, Problem>
    where
        T: sqlx::Decode<'r, sqlx::Sqlite> + sqlx::Type<sqlx::Sqlite>,
    {
        self.0.try_get(i).map_err(|e| Problem::internal(format!("column {i}: {e}")))
    }
    /// Whether it stands between the answers of two questions asked together.
    pub(super) fn divides(&self) -> bool {
        self.0.columns().first().is_some_and(|c| c.name() == DIVIDER)
    }
    /// How many columns it has.
    #[must_use]
    pub fn width(&self) -> usize {
        self.0.len()
    }
    /// An integer.
    ///
    /// # Errors
    /// Internal, when the column holds none.
    pub fn int(&self, i: usize) -> Result<i64, Problem> {
        self.get(i)
    }
    /// An integer or NULL.
    ///
    /// # Errors
    /// Internal, when the column holds something else.
    pub fn opt_int(&self, i: usize) -> Result<Option<i64>, Problem> {
        self.get(i)
    }
    /// A real number or NULL; integers are taken too.
    ///
    /// # Errors
    /// Internal, when the column holds something else.
    pub fn opt_real(&self, i: usize) -> Result<Option<f64>, Problem> {
        let column = |e: &dyn std::fmt::Display| Problem::internal(format!("column {i}: {e}"));
        let kind = self.0.try_get_raw(i).map_err(|e| column(&e))?.type_info().name().to_owned();
        if kind == "INTEGER" {
            // The driver takes none for a real number; a sum of integers is one all the same.
            return self.0.try_get_unchecked(i).map_err(|e| column(&e));
        }
        self.get(i)
    }
    /// A real number.
    ///
    /// # Errors
    /// Internal, when the column holds none.
    pub fn real(&self, i: usize) -> Result<f64, Problem> {
        self.opt_real(i)?.ok_or_else(|| Problem::internal(format!("column {i}: NULL")))
    }
    /// Text.
    ///
    /// # Errors
    /// Internal, when the column holds none.
    pub fn text(&self, i: usize) -> Result<String, Problem> {
        self.get(i)
    }
    /// Text or NULL.
    ///
    /// # Errors
    /// Internal, when the column holds something else.
    pub fn opt_text(&self, i: usize) -> Result<Option<String>, Problem> {
        self.get(i)
    }
    /// A blob.
    ///
    /// # Errors
    /// Internal, when the column holds none.
    pub fn blob(&self, i: usize) -> Result<Vec<u8>, Problem> {
        self.get(i)
    }
    /// A blob or NULL.
    ///
    /// # Errors
    /// Internal, when the column holds something else.
    pub fn opt_blob(&self, i: usize) -> Result<Option<Vec<u8>>, Problem> {
        self.get(i)
    }
    /// An id.
    ///
    /// # Errors
    /// Internal, when the column holds none.
    pub fn uuid(&self, i: usize) -> Result<uuid::Uuid, Problem> {
        uuid::Uuid::from_slice(&self.blob(i)?).map_err(Problem::internal)
    }
}

/// The name of the column of a row that divides answers.
const DIVIDER: &str = "divider of answers";
/// The statement between two questions.
pub(super) const DIVIDE: &str = "SELECT NULL AS \"divider of answers\"";

/// Several statements with their values, sent to the driver as one call. Values are
/// `?` in order; a statement binds its own run of them.
#[derive(Debug, Default)]
pub struct Script {
    pub(super) sql: String,
    pub(super) args: Vec<Cell>,
}

impl Script {
    /// Adds a statement.
    pub fn push(&mut self, sql: &str, args: impl IntoIterator<Item = Cell>) {
        if !self.sql.is_empty() {
            self.sql.push_str(";\n");
        }
        self.sql.push_str(sql);
        self.args.extend(args);
    }
    /// Whether there is nothing in it.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.sql.is_empty()
    }
    pub(super) fn take(&mut self) -> Result<(String, SqliteArguments), Problem> {
        let mut bound = SqliteArguments::default();
        for cell in std::mem::take(&mut self.args) {
            match cell {
                Cell::Null => bound.add(None::<i64>),
                Cell::Int(v) => bound.add(v),
                Cell::Real(v) => bound.add(v),
                Cell::Text(v) => bound.add(v),
                Cell::Blob(v) => bound.add(v),
            }
            .map_err(Problem::internal)?;
        }
        Ok((std::mem::take(&mut self.sql), bound))
    }
}

/// A failure of the database as a problem: a full or failing disk is `busy`, the rest ours.
pub(super) fn failed(error: &sqlx::Error) -> Problem {
    let code = error.as_database_error().and_then(sqlx::error::DatabaseError::code).unwrap_or_default();
    let primary = code.parse::<u32>().map_or(0, |c| c & 0xff);
    // SQLite result codes: 5 BUSY, 6 LOCKED, 8 READONLY, 10 IOERR, 13 FULL, 14 CANTOPEN.
    if matches!(primary, 5 | 6 | 8 | 10 | 13 | 14) || matches!(error, sqlx::Error::PoolTimedOut) {
        let mut problem = Problem::new(
            crate::kernel::ProblemType::Busy,
            "The book could not be written or read just now. Nothing was written.",
        );
        problem.internal = Some(error.to_string());
        problem
    } else {
        Problem::internal(error)
    }
}
