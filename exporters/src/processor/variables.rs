//! The variables of an item session with what they hold now, and the session's randomness.
use std::{collections::BTreeMap, sync::LazyLock};

use qbank::draw::Draws;
use smol_str::SmolStr;

use super::{
    declarations::{Declaration, Role},
    fault::Reason,
    value::{BaseType, Cardinality, Scalar, Value},
};

/// A variable and what it holds.
#[derive(Clone, Debug)]
pub struct Variable<'d> {
    /// As declared.
    pub declaration: &'d Declaration,
    /// What it holds.
    pub value: Value,
    /// What it goes back to: as declared, or as template processing has set it.
    pub default: Value,
    /// The correct response: as declared, or as template processing has set it.
    pub correct: Value,
}

/// All variables of a session.
#[derive(Clone, Debug, Default)]
pub struct Variables<'d>(BTreeMap<&'d str, Variable<'d>>);

/// The variables that every session has.
static BUILT_IN: LazyLock<[Declaration; 3]> = LazyLock::new(|| {
    [
        ("numAttempts", BaseType::Integer),
        ("duration", BaseType::Duration),
        ("completionStatus", BaseType::Identifier),
    ]
    .map(|(name, base_type)| Declaration {
        identifier: name.to_owned(),
        cardinality: Cardinality::Single,
        base_type: Some(base_type),
        default: if base_type == BaseType::Identifier {
            Value::Single(Scalar::Identifier("not_attempted".into()))
        } else {
            base_type.parse("0").map_or(Value::Null, Value::Single)
        },
        role: Role::BuiltIn,
        line: 1,
    })
});

impl<'d> Variables<'d> {
    /// Those declared, and those that every session has. Responses start as nothing, numbers of outcomes at 0.
    #[must_use]
    pub fn new(declarations: &'d [Declaration]) -> Self {
        let mut variables = Self::default();
        BUILT_IN.iter().chain(declarations).for_each(|declaration| variables.declare(declaration));
        variables
    }

    fn declare(&mut self, declaration: &'d Declaration) {
        let default = start_of(declaration);
        let correct = match &declaration.role {
            Role::Response { correct, .. } => correct.clone(),
            _ => Value::Null,
        };
        let value =
            if matches!(declaration.role, Role::Response { .. }) { Value::Null } else { default.clone() };
        let variable = Variable { declaration, value, default, correct };
        self.0.insert(&declaration.identifier, variable);
    }

    /// A variable.
    ///
    /// # Errors
    /// [`Reason::Undeclared`].
    pub fn get(&self, name: &str) -> Result<&Variable<'d>, Reason> {
        self.0.get(name).ok_or_else(|| Reason::Undeclared(name.to_owned()))
    }

    /// Gives a variable a value of its type. Integers become floats where the variable holds floats; nothing fits
    /// everywhere.
    ///
    /// # Errors
    /// [`Reason::Undeclared`], [`Reason::Type`].
    pub(super) fn set(&mut self, name: &str, value: Value) -> Result<(), Reason> {
        let variable = self.change(name)?;
        variable.value = variable.declaration.fitting(value)?;
        Ok(())
    }

    pub(super) fn change(&mut self, name: &str) -> Result<&mut Variable<'d>, Reason> {
        self.0.get_mut(name).ok_or_else(|| Reason::Undeclared(name.to_owned()))
    }

    /// All of them, to be changed.
    pub(super) fn all_mut(&mut self) -> impl Iterator<Item = &mut Variable<'d>> {
        self.0.values_mut()
    }

    /// All of them by name.
    pub fn all(&self) -> impl Iterator<Item = &Variable<'d>> {
        self.0.values()
    }
}

impl Declaration {
    /// The value as this variable can hold it.
    pub(super) fn fitting(&self, value: Value) -> Result<Value, Reason> {
        let value = match (self.base_type, value) {
            (Some(BaseType::Float), Value::Single(Scalar::Integer(number))) => {
                Value::float(f64::from(number))
            }
            // Where a single value is held, a list of one is as good: programs write both.
            (_, Value::Multiple(values) | Value::Ordered(values))
                if self.cardinality == Cardinality::Single && values.len() == 1 =>
            {
                Value::of(Cardinality::Single, values)
            }
            (_, value) => value,
        };
        let held = match &value {
            Value::Null => return Ok(value),
            Value::Single(_) => Cardinality::Single,
            Value::Multiple(_) => Cardinality::Multiple,
            Value::Ordered(_) => Cardinality::Ordered,
            Value::Record(_) => Cardinality::Record,
        };
        let types = |scalar: &Scalar| Some(scalar.base_type()) == self.base_type;
        if held == self.cardinality && value.scalars().iter().all(types) {
            return Ok(value);
        }
        let expected = "a value of the declared cardinality and base type";
        Err(Reason::Type { place: self.identifier.clone(), found: value.to_string(), expected })
    }
}

/// What a variable goes back to when nothing has set it.
fn start_of(declaration: &Declaration) -> Value {
    match (&declaration.role, &declaration.default, declaration.cardinality, declaration.base_type) {
        (Role::Outcome { .. }, Value::Null, Cardinality::Single, Some(BaseType::Float)) => Value::float(0.0),
        (Role::Outcome { .. }, Value::Null, Cardinality::Single, Some(BaseType::Integer)) => {
            Value::integer(0)
        }
        (_, default, ..) => default.clone(),
    }
}

/// Choices left to chance, the same for the same key. Most items leave none.
pub struct Chance {
    key: SmolStr,
    draws: Option<Draws>,
}

impl Chance {
    /// The choices of that key.
    #[must_use]
    pub fn keyed(key: &str) -> Self {
        Self { key: key.into(), draws: None }
    }

    /// A number below `bound`, which is not 0; all equally likely.
    pub(super) fn below(&mut self, bound: u64) -> u64 {
        self.draws.get_or_insert_with(|| Draws::keyed(&self.key)).below(bound)
    }

    /// A float from 0 up to 1.
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit a float")]
    pub(super) fn share(&mut self) -> f64 {
        const STEPS: u64 = 1 << 53;
        self.below(STEPS) as f64 / STEPS as f64
    }
}
