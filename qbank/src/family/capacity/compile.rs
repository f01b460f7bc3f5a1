//! From a family to the program of its automaton. What cannot be carried from column to column is passed over, and told.
use alloc::{collections::BTreeMap, string::ToString, vec::Vec};
use core::cmp::Ordering;

use super::{
    Choice,
    program::{Demand, Digits, Instruction, Program, Register, Slot},
};
use crate::{
    decimal::Decimal,
    expression::{Expression, Function, Operation},
    family::{Condition, Family, Feature, Numbers},
    question::StepKind,
};

/// Most registers and slots a program may have: four bits each in a state. A family that needs more is not counted.
const MAX_STATE: usize = 64;
/// Columns left of the widest number, for what sums carry there.
const SPARE_COLUMNS: usize = 2;

impl Program {
    /// Compiles what can be carried. Tells whether that is everything the family demands; no program at all if the
    /// state would grow too large.
    pub(super) fn compile(family: &Family, givens: &[Choice]) -> (Option<Self>, bool) {
        let mut compiler = Compiler {
            family,
            givens,
            constants: Vec::new(),
            instructions: Vec::new(),
            nodes: Vec::new(),
            demands: Vec::new(),
            registers: 0,
            slots: 0,
        };
        let carried = compiler.family();
        (compiler.finish(), carried)
    }
}
/// A value that the program computes, by the expression it stands for.
#[derive(Clone, Debug)]
struct Node {
    expression: Expression,
    register: Register,
    /// Where its working is counted.
    working: Option<usize>,
}

struct Compiler<'f> {
    family: &'f Family,
    givens: &'f [Choice],
    constants: Vec<Decimal>,
    instructions: Vec<Instruction>,
    nodes: Vec<Node>,
    demands: Vec<(Slot, Demand)>,
    registers: usize,
    slots: usize,
}

impl Compiler<'_> {
    /// Compiles steps, conditions and bounds; whether all of them are carried.
    fn family(&mut self) -> bool {
        let mut all = true;
        for index in 0..self.family.steps.len() {
            let expression = self.inlined(&self.family.steps[index].expression, index);
            // A comparison always has an answer; its sides must have values. What is put in order must differ.
            all &= match expression {
                Some(Expression::Comparison(left, right)) => {
                    self.node(&left).and(self.node(&right)).is_some()
                }
                Some(Expression::Order(_, values)) => self.all_differ(&values).is_some(),
                Some(number) => self.node(&number).is_some() || self.always_works(&number),
                None => self.always_works(&self.family.steps[index].expression),
            };
        }
        for condition in &self.family.conditions {
            all &= self.condition(condition).is_some();
        }
        // Numbers that nothing asks about are drawn all the same. Listed values that nothing asks about stay out, so
        // that their combinations share one automaton.
        for (given, choice) in self.family.givens.iter().zip(self.givens) {
            if matches!(choice, Choice::Range { .. }) {
                all &= self.node(&Expression::Name(given.name.clone())).is_some();
            }
        }
        all
    }

    fn all_differ(&mut self, values: &[Expression]) -> Option<()> {
        for (index, value) in values.iter().enumerate() {
            for other in &values[..index] {
                self.compare(value, other, Demand::Order(&[Ordering::Less, Ordering::Greater]))?;
            }
        }
        Some(())
    }

    /// Whether a number step has an answer whatever is drawn, so that there is nothing to count for it.
    fn always_works(&self, expression: &Expression) -> bool {
        let all = |parts: &[Expression]| parts.iter().all(|part| self.always_works(part));
        match expression {
            Expression::Literal(_) => true,
            Expression::Name(name) => match self.family.steps.iter().find(|step| step.id == *name) {
                Some(step) => step.kind == StepKind::Number && self.always_works(&step.expression),
                None => self
                    .given(name)
                    .is_some_and(|given| !matches!(self.givens[given], Choice::Mistake(_) | Choice::Derived)),
            },
            Expression::Binary(Operation::Add | Operation::Multiply, left, right) => {
                self.always_works(left) && self.always_works(right)
            }
            Expression::Binary(Operation::Divide, left, right) => {
                self.always_works(left) && is_power_of_ten(right)
            }
            Expression::Call(Function::Round, arguments) => match &arguments[0] {
                Expression::Binary(Operation::Divide, left, right) => {
                    self.always_works(left) && self.never_zero(right)
                }
                rounded => self.always_works(rounded),
            },
            Expression::Call(Function::Max | Function::Min | Function::Whole | Function::Digit, parts) => {
                all(parts)
            }
            _ => false,
        }
    }

    fn given(&self, name: &str) -> Option<usize> {
        self.family.givens.iter().position(|given| given.name == name)
    }

    fn never_zero(&self, expression: &Expression) -> bool {
        match expression {
            Expression::Literal(number) => !number.is_zero(),
            Expression::Name(name) => match self.given(name).map(|given| &self.givens[given]) {
                Some(Choice::Fixed(value)) => !value.is_zero(),
                Some(Choice::Listed(values)) => values.iter().all(|value| !value.is_zero()),
                Some(Choice::Range { from, .. }) => *from > 0,
                Some(Choice::Derived | Choice::Mistake(_)) | None => false,
            },
            _ => false,
        }
    }

    fn bounds(&mut self, given: usize) {
        let name = Expression::Name(self.family.givens[given].name.clone());
        let Choice::Range { from, to, places, .. } = self.givens[given] else {
            return;
        };
        let limit = |units: u64| Decimal::new(units.into(), places).map(Expression::Literal);
        if let (Ok(low), Ok(high)) = (limit(from), limit(to)) {
            self.compare(&name, &low, Demand::Order(&[Ordering::Greater, Ordering::Equal]));
            self.compare(&name, &high, Demand::Order(&[Ordering::Less, Ordering::Equal]));
        }
    }

    fn condition(&mut self, condition: &Condition) -> Option<()> {
        let last = self.family.steps.len();
        match condition {
            Condition::Relation(relation) => {
                let left = self.inlined(&relation.left, last)?;
                let right = self.inlined(&relation.right, last)?;
                if let Some(demand) = self.digit_demand(&left, &right, relation.allowed) {
                    self.instructions.push(demand);
                    return Some(());
                }
                self.compare(&left, &right, Demand::Order(relation.allowed))
            }
            Condition::Any(relations) => {
                let group = self.demands.len();
                // All or none: with one of them missing, numbers that satisfy it would not be counted.
                let mut compared = Vec::with_capacity(relations.len());
                for relation in relations {
                    let left = self.inlined(&relation.left, last)?;
                    let right = self.inlined(&relation.right, last)?;
                    compared.push((self.operands(&left, &right)?, relation.allowed));
                }
                for (operands, allowed) in compared {
                    self.compare_operands(operands, Demand::Alternative(group, allowed));
                }
                Some(())
            }
            Condition::Feature { of, feature } => {
                let expression = self.inlined(of, last)?;
                self.node(&expression)?;
                self.feature(&expression, feature)
            }
        }
    }

    /// `digit(x, place)` against a numeral: one column alone decides.
    fn digit_demand(
        &mut self,
        left: &Expression,
        right: &Expression,
        allowed: &'static [Ordering],
    ) -> Option<Instruction> {
        let (Expression::Call(Function::Digit, arguments), Expression::Literal(wanted)) = (left, right)
        else {
            return None;
        };
        let (digit, place) = (self.node(&arguments[0])?, arguments[1].places_literal()?);
        let fits = |digit: &u32| allowed.contains(&Decimal::from(*digit).cmp(wanted));
        let allowed = (0..10).filter(fits).fold(0, |set, digit| set | 1 << digit);
        Some(Instruction::Demand { digit, place, allowed })
    }

    /// The expression with the names of steps before `step`, and of derived givens, replaced by what they stand for.
    fn inlined(&self, expression: &Expression, step: usize) -> Option<Expression> {
        let inline = |part: &Expression| self.inlined(part, step).map(alloc::boxed::Box::new);
        Some(match expression {
            Expression::Name(name) => {
                let earlier = self.family.steps[..step].iter().position(|known| known.id == *name);
                match earlier {
                    Some(index) => self.inlined(&self.family.steps[index].expression, index)?,
                    None => self.inlined_given(name)?,
                }
            }
            Expression::Literal(_) => expression.clone(),
            Expression::Binary(operation @ (Operation::Add | Operation::Subtract), left, right) => {
                Expression::Binary(*operation, inline(left)?, inline(right)?)
            }
            Expression::Comparison(left, right) => Expression::Comparison(inline(left)?, inline(right)?),
            Expression::Order(direction, values) => Expression::Order(
                *direction,
                values.iter().map(|value| self.inlined(value, step)).collect::<Option<_>>()?,
            ),
            Expression::Call(function @ (Function::Whole | Function::Digit), arguments) => {
                let mut inlined = arguments.clone();
                inlined[0] = self.inlined(&arguments[0], step)?;
                Expression::Call(*function, inlined)
            }
            Expression::Binary(..) | Expression::Call(..) => return None,
        })
    }

    fn inlined_given(&self, name: &str) -> Option<Expression> {
        match &self.family.givens[self.given(name)?].numbers {
            Numbers::Range { .. } | Numbers::List(_) => Some(Expression::Name(name.into())),
            Numbers::Derived { expression, places: None } => self.inlined(expression, 0),
            // Whether a value can be written with that many places is left to the draw.
            Numbers::Derived { places: Some(_), .. } | Numbers::Mistaken { .. } => None,
        }
    }

    /// The register that holds an expression's digit in each column; compiled at first use.
    fn node(&mut self, expression: &Expression) -> Option<Register> {
        if let Some(known) = self.nodes.iter().find(|node| node.expression == *expression) {
            return Some(known.register);
        }
        let (instruction, working) = match expression {
            Expression::Literal(number) => (self.fixed(*number), None),
            Expression::Name(name) => {
                let given = self.given(name)?;
                match self.givens[given] {
                    Choice::Fixed(value) => (self.fixed(value), None),
                    Choice::Range { .. } => {
                        let into = self.register();
                        (Instruction::Read { given, into }, None)
                    }
                    Choice::Listed(_) | Choice::Derived | Choice::Mistake(_) => return None,
                }
            }
            Expression::Binary(operation, left, right) => {
                let (left, right) = (self.node(left)?, self.node(right)?);
                let (into, carry) = (self.register(), self.slot(Demand::Zero));
                let instruction = match operation {
                    Operation::Add => Instruction::Add { left, right, into, carry, counted: None },
                    Operation::Subtract => {
                        Instruction::Subtract { left, right, into, lent: carry, counted: None, crossed: None }
                    }
                    Operation::Multiply | Operation::Divide => return None,
                };
                (instruction, Some(self.instructions.len()))
            }
            Expression::Call(..) | Expression::Comparison(..) | Expression::Order(..) => return None,
        };
        self.instructions.push(instruction);
        let register = self.registers - 1;
        self.nodes.push(Node { expression: expression.clone(), register, working });
        // Right after its digit is read, so that the digit need not be remembered for long.
        if let Instruction::Read { given, .. } = instruction {
            self.bounds(given);
        }
        Some(register)
    }

    fn fixed(&mut self, number: Decimal) -> Instruction {
        self.constants.push(number);
        Instruction::Fixed { constant: self.constants.len() - 1, into: self.register() }
    }

    fn register(&mut self) -> Register {
        self.registers += 1;
        self.registers - 1
    }

    fn slot(&mut self, demand: Demand) -> Slot {
        self.demands.push((self.slots, demand));
        self.slots += 1;
        self.slots - 1
    }

    fn compare(&mut self, left: &Expression, right: &Expression, demand: Demand) -> Option<()> {
        let operands = self.operands(left, right)?;
        self.compare_operands(operands, demand);
        Some(())
    }

    /// Two expressions, or their whole parts, or their digits at one place, ready to be compared.
    fn operands(&mut self, left: &Expression, right: &Expression) -> Option<(Register, Register, Digits)> {
        let (left, right, within) = match (left, right) {
            (Expression::Call(Function::Whole, left), Expression::Call(Function::Whole, right)) => {
                (&left[0], &right[0], Digits::Whole)
            }
            (Expression::Call(Function::Digit, left), Expression::Call(Function::Digit, right))
                if left[1] == right[1] =>
            {
                (&left[0], &right[0], Digits::At(left[1].places_literal()?))
            }
            _ => (left, right, Digits::All),
        };
        Some((self.node(left)?, self.node(right)?, within))
    }

    fn compare_operands(&mut self, (left, right, within): (Register, Register, Digits), demand: Demand) {
        let order = self.slot(demand);
        self.instructions.push(Instruction::Compare { left, right, order, within });
    }

    fn feature(&mut self, of: &Expression, feature: &Feature) -> Option<()> {
        let working = self.nodes.iter().find(|node| node.expression == *of)?.working?;
        let demand = match feature {
            Feature::Carries(range) | Feature::Exchanges(range) => {
                Demand::Count { least: *range.start(), most: *range.end() }
            }
            Feature::AcrossZero(wanted) => Demand::Flag(*wanted),
        };
        let next = self.slots;
        let place = match (&mut self.instructions[working], feature) {
            (Instruction::Add { counted, .. }, Feature::Carries(_))
            | (Instruction::Subtract { counted, .. }, Feature::Exchanges(_)) => counted,
            (Instruction::Subtract { crossed, .. }, Feature::AcrossZero(_)) => crossed,
            _ => return None,
        };
        // A working is counted once; a second demand on it is left to the draw.
        if place.is_some() {
            return None;
        }
        *place = Some(next);
        self.slot(demand);
        Some(())
    }

    fn finish(mut self) -> Option<Program> {
        let mut dead_after = dead_after(&self.instructions, self.registers);
        let registers = share_registers(&mut self.instructions, &mut dead_after);
        if registers + self.slots > MAX_STATE {
            return None;
        }
        let numbers = self.givens.iter().filter_map(Choice::largest).chain(self.constants.iter().copied());
        let (mut places, mut whole) = (0, 1);
        for number in numbers {
            places = places.max(number.places() as usize);
            whole = whole.max(number.whole_digits() as usize);
        }
        // A place that a demand looks at must be a column, even where no number has a digit there.
        for instruction in &self.instructions {
            if let Instruction::Demand { place, .. }
            | Instruction::Compare { within: Digits::At(place), .. } = instruction
            {
                places = places.max(*place as usize);
            }
        }
        Some(Program {
            dead_after,
            ranges: self
                .givens
                .iter()
                .map(|given| matches!(given, Choice::Range { .. }).then(|| given.clone()))
                .collect(),
            constants: self.constants,
            instructions: self.instructions,
            demands: self.demands,
            registers,
            places,
            columns: places + whole + SPARE_COLUMNS,
        })
    }
}

fn is_power_of_ten(expression: &Expression) -> bool {
    matches!(expression, Expression::Literal(number)
        if number.places() == 0 && number.to_string().trim_end_matches('0') == "1")
}

/// For each instruction the registers that are read there for the last time, or written and never read.
fn dead_after(instructions: &[Instruction], registers: usize) -> Vec<Vec<Register>> {
    let mut dead = alloc::vec![Vec::new(); instructions.len()];
    for register in 0..registers {
        let touches = |instruction: &Instruction| match *instruction {
            Instruction::Read { into, .. } | Instruction::Fixed { into, .. } => into == register,
            Instruction::Add { left, right, into, .. } | Instruction::Subtract { left, right, into, .. } => {
                [left, right, into].contains(&register)
            }
            Instruction::Compare { left, right, .. } => [left, right].contains(&register),
            Instruction::Demand { digit, .. } => digit == register,
        };
        if let Some(last) = instructions.iter().rposition(touches) {
            dead[last].push(register);
        }
    }
    dead
}

/// Gives registers that are never in use at one time the same place in the state; how many places there are.
fn share_registers(instructions: &mut [Instruction], dead_after: &mut [Vec<Register>]) -> usize {
    let mut place_of: BTreeMap<Register, Register> = BTreeMap::new();
    let mut free: Vec<Register> = Vec::new();
    let mut places = 0;
    for (instruction, dead) in instructions.iter_mut().zip(dead_after) {
        for register in instruction.registers_mut() {
            let known = place_of.get(register).copied();
            let place = known.or_else(|| free.pop()).unwrap_or_else(|| {
                places += 1;
                places - 1
            });
            place_of.insert(*register, place);
            *register = place;
        }
        for register in dead {
            *register = place_of[register];
            free.push(*register);
        }
    }
    places
}
