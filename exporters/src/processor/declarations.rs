//! What an item declares: response, outcome and template variables, with defaults, correct responses, mappings and
//! tables.
use std::collections::BTreeMap;

use super::{
    document::{Element, told},
    expressions::Area,
    fault::Fault,
    value::{BaseType, Cardinality, Scalar, Value, is_identifier},
};
use crate::qti::QtiVersion;

/// A variable as declared.
#[derive(Clone, Debug, PartialEq)]
pub struct Declaration {
    /// Its name.
    pub identifier: String,
    /// How many values it holds, and how.
    pub cardinality: Cardinality,
    /// Their type; records have none.
    pub base_type: Option<BaseType>,
    /// What it holds to begin with.
    pub default: Value,
    /// What it is for.
    pub role: Role,
    /// Where it is declared.
    pub line: u64,
}

/// What a variable is for.
#[derive(Clone, Debug, PartialEq)]
pub enum Role {
    /// What the candidate gives.
    Response {
        /// The correct response.
        correct: Value,
        /// Points for values.
        mapping: Option<Mapping>,
        /// Points for places on a picture.
        areas: Option<AreaMapping>,
    },
    /// What response processing finds.
    Outcome {
        /// The most it can reach, as stated.
        maximum: Option<f64>,
        /// The least it can reach, as stated.
        minimum: Option<f64>,
        /// Who sets it, if not response processing.
        external: Option<String>,
        /// From numbers to values.
        table: Option<LookupTable>,
    },
    /// What template processing sets.
    Template,
    /// What every session has.
    BuiltIn,
}

/// Points for values.
#[derive(Clone, Debug, PartialEq)]
pub struct Mapping {
    /// In the order written.
    pub entries: Vec<MapEntry>,
    /// For values without entry.
    pub default: f64,
    /// The least and the most that comes out.
    pub bounds: Bounds,
}

/// The least and the most of a mapped value.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub struct Bounds {
    /// The least.
    pub lower: Option<f64>,
    /// The most.
    pub upper: Option<f64>,
}

impl Bounds {
    /// A number brought between the bounds.
    #[must_use]
    pub fn apply(self, number: f64) -> f64 {
        let number = self.lower.map_or(number, |lower| number.max(lower));
        self.upper.map_or(number, |upper| number.min(upper))
    }
}

/// Points for one value.
#[derive(Clone, Debug, PartialEq)]
pub struct MapEntry {
    /// The value.
    pub key: Scalar,
    /// Its points.
    pub points: f64,
    /// Whether strings in other letter case are another value.
    pub case_sensitive: bool,
}

/// Points for places on a picture.
#[derive(Clone, Debug, PartialEq)]
pub struct AreaMapping {
    /// In the order written.
    pub entries: Vec<(Area, f64)>,
    /// For points in no area.
    pub default: f64,
    /// The least and the most that comes out.
    pub bounds: Bounds,
}

/// From numbers to values.
#[derive(Clone, Debug, PartialEq)]
pub struct LookupTable {
    /// How a number finds its row.
    pub kind: TableKind,
    /// The number of each row, whether it belongs to the row, and the row's value.
    pub rows: Vec<(f64, bool, Value)>,
    /// For numbers without row.
    pub default: Value,
}

/// How a number finds its row in a table.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TableKind {
    /// The row of this very number.
    Match,
    /// The first row, from above, whose number is not larger.
    Interpolation,
}

impl LookupTable {
    /// The value of a number.
    #[must_use]
    pub fn value_of(&self, number: f64) -> &Value {
        #[expect(clippy::float_cmp, reason = "a match table holds integers")]
        let fits = |(row, included, _): &&(f64, bool, Value)| match self.kind {
            TableKind::Match => number == *row,
            TableKind::Interpolation => number > *row || (*included && number == *row),
        };
        self.rows.iter().find(fits).map_or(&self.default, |(_, _, value)| value)
    }
}

/// Reads a declaration of any of the three kinds.
///
/// # Errors
/// [`Fault`], the first in the declaration.
pub(super) fn read(element: Element<'_>, version: QtiVersion) -> Result<Declaration, Fault> {
    let identifier = element.required("identifier")?;
    if !is_identifier(identifier) {
        return Err(element.strange(
            "identifier",
            identifier,
            "a letter or '_', then letters, digits, '_', '-', '.'",
        ));
    }
    let cardinality = element.one_of("cardinality", &Cardinality::WORDS)?;
    let cardinality = cardinality.ok_or_else(|| missing(element, "cardinality"))?;
    let base_type = element.one_of("base-type", &BaseType::WORDS)?;
    if base_type.is_none() && cardinality != Cardinality::Record {
        return Err(missing(element, "base-type"));
    }
    let typed = Typed { cardinality, base_type };
    let default = typed.values_of(element, "default-value")?;
    let role = match element.name {
        "response-declaration" => response(element, typed, version)?,
        "outcome-declaration" => outcome(element, typed)?,
        _ => Role::Template,
    };
    Ok(Declaration {
        identifier: identifier.to_owned(),
        cardinality,
        base_type,
        default,
        role,
        line: element.line,
    })
}

fn missing(element: Element<'_>, name: &str) -> Fault {
    let found = format!("'{}' has no '{name}'", element.name);
    Fault::unexpected(element.line, found, format!("the attribute '{name}'"))
}

#[derive(Clone, Copy)]
struct Typed {
    cardinality: Cardinality,
    base_type: Option<BaseType>,
}

impl Typed {
    fn values_of(self, element: Element<'_>, name: &str) -> Result<Value, Fault> {
        let Some(holder) = element.first(name) else { return Ok(Value::Null) };
        if self.cardinality == Cardinality::Record {
            return record(holder);
        }
        let values = holder.all("value").map(|value| scalar(self.base_type, value));
        let values: Vec<Scalar> = values.collect::<Result<_, _>>()?;
        if self.cardinality == Cardinality::Single && values.len() > 1 {
            let found = format!("'{name}' has {} values", values.len());
            return Err(Fault::unexpected(holder.line, found, "one, as the cardinality is single"));
        }
        Ok(Value::of(self.cardinality, values))
    }
}

fn record(holder: Element<'_>) -> Result<Value, Fault> {
    let field = |value: Element<'_>| {
        let base_type = value.one_of("base-type", &BaseType::WORDS)?;
        Ok((value.required("field-identifier")?.to_owned(), scalar(base_type, value)?))
    };
    let fields: BTreeMap<String, Scalar> = holder.all("value").map(field).collect::<Result<_, Fault>>()?;
    Ok(if fields.is_empty() { Value::Null } else { Value::Record(fields) })
}

fn scalar(base_type: Option<BaseType>, value: Element<'_>) -> Result<Scalar, Fault> {
    let base_type = base_type.unwrap_or(BaseType::String);
    let text = value.text();
    base_type.parse(&text).ok_or_else(|| {
        let found = format!("the value '{}'", told(&text));
        Fault::unexpected(value.line, found, format!("a value of the base type {}", base_type.name()))
    })
}

fn response(element: Element<'_>, typed: Typed, version: QtiVersion) -> Result<Role, Fault> {
    let mapping = element.first("mapping").map(|mapping| read_mapping(mapping, typed.base_type, version));
    let areas = element.first("area-mapping").map(read_areas);
    Ok(Role::Response {
        correct: typed.values_of(element, "correct-response")?,
        mapping: mapping.transpose()?,
        areas: areas.transpose()?,
    })
}

fn read_mapping(
    element: Element<'_>,
    base_type: Option<BaseType>,
    version: QtiVersion,
) -> Result<Mapping, Fault> {
    let base_type = base_type.unwrap_or(BaseType::String);
    let entry = |entry: Element<'_>| {
        let key = entry.required("map-key")?;
        let typed = base_type.parse(key);
        let expected = format!("a value of the base type {}", base_type.name());
        Ok(MapEntry {
            key: typed.ok_or_else(|| entry.strange("map-key", key, &expected))?,
            points: required_number(entry, "mapped-value")?,
            // The bindings of 3.0 and 2.2 state a default; 2.1 leaves strings as they are written.
            case_sensitive: entry.truth("case-sensitive", version == QtiVersion::V21)?,
        })
    };
    Ok(Mapping {
        entries: element.all("map-entry").map(entry).collect::<Result<_, Fault>>()?,
        default: element.number("default-value")?.unwrap_or(0.0),
        bounds: bounds(element)?,
    })
}

fn read_areas(element: Element<'_>) -> Result<AreaMapping, Fault> {
    let entry = |entry: Element<'_>| Ok((Area::read(entry)?, required_number(entry, "mapped-value")?));
    Ok(AreaMapping {
        entries: element.all("area-map-entry").map(entry).collect::<Result<_, Fault>>()?,
        default: element.number("default-value")?.unwrap_or(0.0),
        bounds: bounds(element)?,
    })
}

fn bounds(element: Element<'_>) -> Result<Bounds, Fault> {
    Ok(Bounds { lower: element.number("lower-bound")?, upper: element.number("upper-bound")? })
}

fn required_number(element: Element<'_>, name: &str) -> Result<f64, Fault> {
    element.number(name)?.ok_or_else(|| missing(element, name))
}

fn outcome(element: Element<'_>, typed: Typed) -> Result<Role, Fault> {
    let table = [("match-table", TableKind::Match), ("interpolation-table", TableKind::Interpolation)];
    let table = table.iter().find_map(|(name, kind)| Some((element.first(name)?, *kind)));
    Ok(Role::Outcome {
        maximum: element.number("normal-maximum")?,
        minimum: element.number("normal-minimum")?,
        external: element.attribute("external-scored").map(told),
        table: table.map(|(table, kind)| read_table(table, kind, typed)).transpose()?,
    })
}

fn read_table(element: Element<'_>, kind: TableKind, typed: Typed) -> Result<LookupTable, Fault> {
    let base_type = typed.base_type.unwrap_or(BaseType::String);
    let expected = format!("a value of the base type {}", base_type.name());
    let target = |row: Element<'_>, name: &str, text: &str| {
        let parsed = base_type.parse(text).map(Value::single);
        parsed.ok_or_else(|| row.strange(name, text, &expected))
    };
    let row = |row: Element<'_>| {
        let value = target(row, "target-value", row.required("target-value")?)?;
        Ok((required_number(row, "source-value")?, row.truth("include-boundary", true)?, value))
    };
    let names = ["match-table-entry", "interpolation-table-entry"];
    let rows = element.children().filter(|child| names.contains(&child.name)).map(row);
    let rows = rows.collect::<Result<_, Fault>>()?;
    let default = element.attribute("default-value").map(|text| target(element, "default-value", text));
    Ok(LookupTable { kind, rows, default: default.transpose()?.unwrap_or_default() })
}
