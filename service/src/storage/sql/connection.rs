//! One way to speak SQL to either database: statements, parameters and rows as the statement modules use them.
//!
//! The statements are written once, in the part of SQL that SQLite and PostgreSQL share; [`super::dialect`] rewrites what
//! is written differently. What only one of them has is a method here: [`Connection::turn`], [`Connection::take`] and so on.
//!
//! Numbers are 64-bit integers, truth values are 0 and 1, times are milliseconds since 1970, JSON is text.

use std::cell::{Cell, RefCell};
use std::collections::BTreeSet;
use std::error::Error as _;
use std::fmt;

use super::postgres::Session;

/// A connection to a database, in a transaction or not.
pub(super) enum Connection {
    Sqlite(rusqlite::Connection),
    /// In a cell, because its client wants to be borrowed mutably for each statement; one thread owns it.
    Postgres(Box<RefCell<Session>>),
}

/// Why a statement failed.
#[derive(Debug)]
pub(super) enum SqlError {
    Sqlite(rusqlite::Error),
    Postgres(tokio_postgres::Error),
    /// A statement that gives exactly one row gave none.
    NoRow,
    /// There can be no connection.
    Unusable(String),
    /// A stored value is not what it should be.
    Unreadable {
        column: String,
        problem: String,
    },
}

pub(super) type SqlResult<T> = Result<T, SqlError>;

impl fmt::Display for SqlError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Sqlite(error) => error.fmt(f),
            // Its own text leaves out what the server said. Details and hints can quote rows, so they stay out.
            Self::Postgres(error) => match error.as_db_error() {
                Some(said) => write!(f, "{} ({})", said.message(), said.code().code()),
                None => match error.source() {
                    Some(source) => write!(f, "{error}: {source}"),
                    None => error.fmt(f),
                },
            },
            Self::NoRow => f.write_str("a row is missing"),
            Self::Unusable(problem) => f.write_str(problem),
            Self::Unreadable { column, problem } => write!(f, "column {column}: {problem}"),
        }
    }
}

impl From<rusqlite::Error> for SqlError {
    fn from(error: rusqlite::Error) -> Self {
        match error {
            rusqlite::Error::QueryReturnedNoRows => Self::NoRow,
            error => Self::Sqlite(error),
        }
    }
}

impl From<tokio_postgres::Error> for SqlError {
    fn from(error: tokio_postgres::Error) -> Self {
        Self::Postgres(error)
    }
}

/// A value on its way to the database.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Value {
    Null,
    Integer(i64),
    Text(String),
    Blob(Vec<u8>),
}

/// What can be a parameter of a statement.
pub(super) trait ToValue {
    fn to_value(&self) -> Value;
}

impl ToValue for Value {
    fn to_value(&self) -> Value {
        self.clone()
    }
}

impl ToValue for i64 {
    fn to_value(&self) -> Value {
        Value::Integer(*self)
    }
}

impl ToValue for u32 {
    fn to_value(&self) -> Value {
        Value::Integer(i64::from(*self))
    }
}

impl ToValue for bool {
    fn to_value(&self) -> Value {
        Value::Integer(i64::from(*self))
    }
}

impl ToValue for str {
    fn to_value(&self) -> Value {
        Value::Text(self.to_owned())
    }
}

impl ToValue for String {
    fn to_value(&self) -> Value {
        Value::Text(self.clone())
    }
}

impl ToValue for [u8] {
    fn to_value(&self) -> Value {
        Value::Blob(self.to_vec())
    }
}

impl ToValue for Vec<u8> {
    fn to_value(&self) -> Value {
        Value::Blob(self.clone())
    }
}

impl<T: ToValue + ?Sized> ToValue for &T {
    fn to_value(&self) -> Value {
        (**self).to_value()
    }
}

impl<T: ToValue> ToValue for Option<T> {
    fn to_value(&self) -> Value {
        self.as_ref().map_or(Value::Null, ToValue::to_value)
    }
}

/// Parameters of different types, in their order.
macro_rules! params {
    ($($value:expr),* $(,)?) => {
        &[$(&$value as &dyn $crate::storage::sql::connection::ToValue),*] as &[&dyn $crate::storage::sql::connection::ToValue]
    };
}
pub(super) use params;

/// The same as one of several sets.
macro_rules! values {
    ($($value:expr),* $(,)?) => {
        vec![$($crate::storage::sql::connection::ToValue::to_value(&$value)),*]
    };
}
pub(super) use values;

/// The parameters of one statement.
pub(super) trait Params {
    fn values(self) -> Vec<Value>;
}

impl Params for &[&dyn ToValue] {
    fn values(self) -> Vec<Value> {
        self.iter().map(ToValue::to_value).collect()
    }
}

impl Params for [&dyn ToValue; 0] {
    fn values(self) -> Vec<Value> {
        Vec::new()
    }
}

impl<T: ToValue> Params for [T; 1] {
    fn values(self) -> Vec<Value> {
        vec![self[0].to_value()]
    }
}

impl Params for Vec<Value> {
    fn values(self) -> Vec<Value> {
        self
    }
}

/// A value as it comes from the database.
#[derive(Debug, Clone, Copy)]
pub(super) enum ValueRef<'a> {
    Null,
    Integer(i64),
    Text(&'a str),
    Blob(&'a [u8]),
}

impl ValueRef<'_> {
    fn kind(self) -> &'static str {
        match self {
            Self::Null => "nothing",
            Self::Integer(_) => "a number",
            Self::Text(_) => "text",
            Self::Blob(_) => "bytes",
        }
    }
}

impl From<ValueRef<'_>> for Value {
    fn from(value: ValueRef<'_>) -> Self {
        match value {
            ValueRef::Null => Self::Null,
            ValueRef::Integer(number) => Self::Integer(number),
            ValueRef::Text(text) => Self::Text(text.to_owned()),
            ValueRef::Blob(bytes) => Self::Blob(bytes.to_vec()),
        }
    }
}

/// What can be read from a column; None for a value of another kind.
pub(super) trait FromValue: Sized {
    fn from_value(value: ValueRef<'_>) -> Option<Self>;
}

impl FromValue for Value {
    fn from_value(value: ValueRef<'_>) -> Option<Self> {
        Some(value.into())
    }
}

impl FromValue for i64 {
    fn from_value(value: ValueRef<'_>) -> Option<Self> {
        if let ValueRef::Integer(number) = value { Some(number) } else { None }
    }
}

impl FromValue for u32 {
    fn from_value(value: ValueRef<'_>) -> Option<Self> {
        i64::from_value(value)?.try_into().ok()
    }
}

impl FromValue for usize {
    fn from_value(value: ValueRef<'_>) -> Option<Self> {
        i64::from_value(value)?.try_into().ok()
    }
}

impl FromValue for bool {
    fn from_value(value: ValueRef<'_>) -> Option<Self> {
        i64::from_value(value).map(|number| number != 0)
    }
}

impl FromValue for String {
    fn from_value(value: ValueRef<'_>) -> Option<Self> {
        if let ValueRef::Text(text) = value { Some(text.to_owned()) } else { None }
    }
}

impl FromValue for Vec<u8> {
    fn from_value(value: ValueRef<'_>) -> Option<Self> {
        if let ValueRef::Blob(bytes) = value { Some(bytes.to_vec()) } else { None }
    }
}

impl<T: FromValue> FromValue for Option<T> {
    fn from_value(value: ValueRef<'_>) -> Option<Self> {
        if let ValueRef::Null = value { Some(None) } else { T::from_value(value).map(Some) }
    }
}

/// A row of an answer.
pub(super) enum Row<'a> {
    Sqlite(&'a rusqlite::Row<'a>, &'a Places),
    Postgres(&'a tokio_postgres::Row),
}

/// Where the columns stand that the rows of an answer are asked for: found for the first row, since the others are asked for
/// the same in the same order. To find a column by its name takes longer than to read it.
#[derive(Default)]
pub(super) struct Places {
    found: RefCell<Vec<(&'static str, usize)>>,
    /// How many columns this row was asked for.
    asked: Cell<usize>,
}

impl Places {
    fn of(&self, column: &'static str, row: &rusqlite::Row<'_>) -> SqlResult<usize> {
        let asked = self.asked.replace(self.asked.get() + 1);
        let mut found = self.found.borrow_mut();
        if let Some((_, place)) = found.get(asked).filter(|(known, _)| *known == column) {
            return Ok(*place);
        }
        found.truncate(asked);
        let statement = row.as_ref();
        let next = found.last().map_or(0, |(_, last)| last + 1);
        let ahead =
            (next..statement.column_count()).find(|place| statement.column_name(*place) == Ok(column));
        let place = if let Some(place) = ahead { place } else { statement.column_index(column)? };
        found.push((column, place));
        Ok(place)
    }
}

/// How a column is named: by its name, or by its place from 0 on.
pub(super) trait Column: Copy + tokio_postgres::row::RowIndex + fmt::Display {
    /// Where it stands in a row of SQLite's.
    fn place(self, row: &rusqlite::Row<'_>, places: &Places) -> SqlResult<usize>;
}

impl Column for &'static str {
    fn place(self, row: &rusqlite::Row<'_>, places: &Places) -> SqlResult<usize> {
        places.of(self, row)
    }
}

impl Column for usize {
    fn place(self, _: &rusqlite::Row<'_>, _: &Places) -> SqlResult<usize> {
        Ok(self)
    }
}

impl Row<'_> {
    /// The value of a column.
    pub(super) fn get<C: Column, T: FromValue>(&self, column: C) -> SqlResult<T> {
        let value = match self {
            Self::Sqlite(row, places) => of_sqlite(row.get_ref(column.place(row, places)?)?, &column)?,
            Self::Postgres(row) => super::postgres::value(row, column)?,
        };
        T::from_value(value).ok_or_else(|| unreadable(&column, format!("holds {}", value.kind())))
    }

    /// The names of the columns.
    pub(super) fn columns(&self) -> Vec<String> {
        match self {
            Self::Sqlite(row, _) => row.as_ref().column_names().map(str::to_owned).collect(),
            Self::Postgres(row) => row.columns().iter().map(|column| column.name().to_owned()).collect(),
        }
    }
}

/// All rows of the answer to a statement of SQLite's with these values.
fn rows_of<T>(
    statement: &mut rusqlite::Statement<'_>,
    values: Vec<Value>,
    places: &Places,
    read: &mut impl FnMut(&Row<'_>) -> SqlResult<T>,
) -> SqlResult<Vec<T>> {
    let mut rows = statement.query(rusqlite::params_from_iter(values))?;
    let mut all = Vec::new();
    while let Some(row) = rows.next()? {
        places.asked.set(0);
        all.push(read(&Row::Sqlite(row, places))?);
    }
    Ok(all)
}

fn of_sqlite<'a>(value: rusqlite::types::ValueRef<'a>, column: &dyn fmt::Display) -> SqlResult<ValueRef<'a>> {
    use rusqlite::types::ValueRef as Its;
    Ok(match value {
        Its::Null => ValueRef::Null,
        Its::Integer(number) => ValueRef::Integer(number),
        Its::Text(bytes) => {
            ValueRef::Text(std::str::from_utf8(bytes).map_err(|error| unreadable(column, error))?)
        }
        Its::Blob(bytes) => ValueRef::Blob(bytes),
        Its::Real(number) => return Err(unreadable(column, format!("holds {number}"))),
    })
}

/// A column whose value cannot be used.
pub(super) fn unreadable(column: &dyn fmt::Display, problem: impl fmt::Display) -> SqlError {
    SqlError::Unreadable { column: column.to_string(), problem: problem.to_string() }
}

/// Where a missing row is no error.
pub(super) trait OptionalExtension<T> {
    fn optional(self) -> SqlResult<Option<T>>;
}

impl<T> OptionalExtension<T> for SqlResult<T> {
    fn optional(self) -> SqlResult<Option<T>> {
        match self {
            Ok(value) => Ok(Some(value)),
            Err(SqlError::NoRow) => Ok(None),
            Err(error) => Err(error),
        }
    }
}

impl Connection {
    /// Runs a statement; returns how many rows it concerned.
    pub(super) fn execute(&self, sql: &str, params: impl Params) -> SqlResult<usize> {
        match self {
            Self::Sqlite(connection) => {
                Ok(connection.prepare_cached(sql)?.execute(rusqlite::params_from_iter(params.values()))?)
            }
            Self::Postgres(session) => session.borrow_mut().execute(sql, &params.values()),
        }
    }

    /// Begins a transaction. Over a connection that is said together with the first statement.
    pub(super) fn begin(&self, sql: &'static str) -> SqlResult<()> {
        match self {
            Self::Sqlite(connection) => Ok(connection.execute_batch(sql)?),
            Self::Postgres(session) => {
                session.borrow_mut().begin(sql);
                Ok(())
            }
        }
    }

    /// Runs statements without parameters.
    pub(super) fn execute_batch(&self, sql: &str) -> SqlResult<()> {
        match self {
            Self::Sqlite(connection) => Ok(connection.execute_batch(sql)?),
            Self::Postgres(session) => session.borrow_mut().execute_batch(sql),
        }
    }

    /// All rows of an answer.
    pub(super) fn query<T>(
        &self,
        sql: &str,
        params: impl Params,
        mut read: impl FnMut(&Row<'_>) -> SqlResult<T>,
    ) -> SqlResult<Vec<T>> {
        match self {
            Self::Sqlite(connection) => {
                let mut statement = connection.prepare_cached(sql)?;
                rows_of(&mut statement, params.values(), &Places::default(), &mut read)
            }
            Self::Postgres(session) => {
                let rows = session.borrow_mut().query(sql, &params.values())?;
                rows.iter().map(|row| read(&Row::Postgres(row))).collect()
            }
        }
    }

    /// All rows of the answers to one statement with several sets of parameters, in their order, read by the names of their
    /// columns. Over a connection they are asked for at once, see [`super::dialect::for_all`].
    pub(super) fn query_each<T>(
        &self,
        sql: &str,
        sets: Vec<Vec<Value>>,
        mut read: impl FnMut(&Row<'_>) -> SqlResult<T>,
    ) -> SqlResult<Vec<Vec<T>>> {
        match self {
            Self::Sqlite(connection) => {
                let mut statement = connection.prepare_cached(sql)?;
                let places = Places::default();
                sets.into_iter().map(|values| rows_of(&mut statement, values, &places, &mut read)).collect()
            }
            Self::Postgres(session) => {
                let answers = session.borrow_mut().query_each(sql, &sets)?;
                let rows = |answer: &Vec<_>| answer.iter().map(|row| read(&Row::Postgres(row))).collect();
                answers.iter().map(rows).collect()
            }
        }
    }

    /// Runs one statement with several sets of parameters, as [`Connection::query_each`] does. Over a connection it travels
    /// with what follows in the transaction, and so does the news that it failed.
    pub(super) fn execute_each(&self, sql: &str, sets: Vec<Vec<Value>>) -> SqlResult<()> {
        match self {
            Self::Sqlite(_) => self.query_each(sql, sets, |_| Ok(())).map(drop),
            Self::Postgres(session) => session.borrow_mut().execute_each(sql, sets),
        }
    }

    /// Shows the rows of an answer one after another; they are not all in memory at once.
    pub(super) fn each(&self, sql: &str, mut see: impl FnMut(&Row<'_>) -> SqlResult<()>) -> SqlResult<()> {
        match self {
            Self::Sqlite(_) => self.query(sql, [], see).map(drop),
            Self::Postgres(session) => session.borrow_mut().each(sql, |row| see(&Row::Postgres(row))),
        }
    }

    /// The first row of an answer; [`SqlError::NoRow`] if there is none.
    pub(super) fn query_row<T>(
        &self,
        sql: &str,
        params: impl Params,
        read: impl FnMut(&Row<'_>) -> SqlResult<T>,
    ) -> SqlResult<T> {
        self.query(sql, params, read)?.into_iter().next().ok_or(SqlError::NoRow)
    }

    /// A statement that is prepared once and kept.
    #[expect(
        clippy::unnecessary_wraps,
        reason = "preparing may fail; here it happens when the statement is run"
    )]
    pub(super) fn prepare_cached<'a>(&'a self, sql: &'a str) -> SqlResult<Statement<'a>> {
        Ok(Statement { connection: self, sql })
    }

    /// Waits until nobody else changes what belongs to `whose`, and keeps it until the transaction ends. In SQLite one
    /// transaction writes at a time, so there is nothing to wait for.
    pub(super) fn turn(&self, whose: &Turn<'_>) -> SqlResult<()> {
        match self {
            Self::Sqlite(_) => Ok(()),
            Self::Postgres(session) => session.borrow_mut().turn(whose),
        }
    }

    /// As [`Connection::turn`] for several pupils, in an order in which no two wait for each other.
    pub(super) fn turns_of_pupils(&self, pupils: &BTreeSet<(&str, &str)>) -> SqlResult<()> {
        match self {
            Self::Sqlite(_) => Ok(()),
            Self::Postgres(session) => session.borrow_mut().turns_of_pupils(pupils),
        }
    }

    /// To be put behind a SELECT: nobody else changes its rows of `table` until the transaction ends. Waits for those who
    /// are about to.
    pub(super) fn take(&self, table: &str) -> String {
        match self {
            Self::Sqlite(_) => String::new(),
            Self::Postgres(_) => format!("FOR UPDATE OF {table}"),
        }
    }

    /// Nobody else changes these tables until the transaction ends.
    pub(super) fn take_tables(&self, tables: &str) -> SqlResult<()> {
        match self {
            Self::Sqlite(_) => Ok(()),
            Self::Postgres(_) => {
                self.execute_batch(&format!("LOCK TABLE {tables} IN SHARE ROW EXCLUSIVE MODE"))
            }
        }
    }

    /// To be put behind a SELECT: locks its rows of `table`, and leaves out those that somebody else has locked.
    pub(super) fn skip_taken(&self, table: &str) -> String {
        match self {
            Self::Sqlite(_) => String::new(),
            Self::Postgres(_) => format!("FOR UPDATE OF {table} SKIP LOCKED"),
        }
    }
}

/// What one transaction at a time may change. Where two are needed, [`Turn::Settings`] comes first.
pub(super) enum Turn<'a> {
    /// Platforms, keys, invitations, tokens, settings of quizzes: all that changes rarely.
    Settings,
    /// A pupil's attempts at a quiz, and the grade that follows from them.
    Pupil { placement: &'a str, user: &'a str },
    /// The same of the pupil and quiz of an attempt.
    OfAttempt(&'a str),
}

/// A statement to be run on its connection.
pub(super) struct Statement<'a> {
    connection: &'a Connection,
    sql: &'a str,
}

impl Statement<'_> {
    pub(super) fn execute(&mut self, params: impl Params) -> SqlResult<usize> {
        self.connection.execute(self.sql, params)
    }

    pub(super) fn query_row<T>(
        &mut self,
        params: impl Params,
        read: impl FnMut(&Row<'_>) -> SqlResult<T>,
    ) -> SqlResult<T> {
        self.connection.query_row(self.sql, params, read)
    }

    pub(super) fn query_map<T>(
        &mut self,
        params: impl Params,
        read: impl FnMut(&Row<'_>) -> SqlResult<T>,
    ) -> SqlResult<impl Iterator<Item = SqlResult<T>>> {
        Ok(self.connection.query(self.sql, params, read)?.into_iter().map(Ok))
    }
}

impl rusqlite::ToSql for Value {
    fn to_sql(&self) -> rusqlite::Result<rusqlite::types::ToSqlOutput<'_>> {
        use rusqlite::types::{ToSqlOutput, ValueRef as Its};
        Ok(ToSqlOutput::Borrowed(match self {
            Self::Null => Its::Null,
            Self::Integer(number) => Its::Integer(*number),
            Self::Text(text) => Its::Text(text.as_bytes()),
            Self::Blob(bytes) => Its::Blob(bytes),
        }))
    }
}
