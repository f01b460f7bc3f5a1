//! How many different questions a family holds, counted and not guessed, and which numbers stand at a position.
//!
//! Sums, differences and comparisons of decimals can be decided column by column from the right, as on paper, if one
//! remembers a little: the carry or exchange of every sum and difference, how each comparison stands so far, how many
//! carries there were. That memory is the state of an automaton that reads one digit of every given per column.
//! [`Space`] compiles a family into such an automaton (a straight-line program for one column, run for each column)
//! and counts, by dynamic programming over the states, how many ways there are to go on. Counting answers 'how many';
//! walking the same counts answers 'which is number 4711' (unranking).
//!
//! What no automaton of this kind carries (products, quotients, rounding, choosing a limit, telling misconceptions
//! apart) is left to the draw: then the count is an upper bound, and [`Space::is_exact`] says so.
use alloc::{collections::BTreeMap, vec::Vec};
use core::cmp::Ordering;

use super::{Condition, Family, Feature, GivenRange, Numbers};
use crate::{
    decimal::Decimal,
    expression::{Expression, Operation},
};

/// Most registers and slots a program may have: four bits each in a [`State`]. A family that needs more is not counted.
const MAX_STATE: usize = 32;
/// Most combinations of listed values that are counted one by one.
const MAX_COMBINATIONS: usize = 64;
/// Columns left of the widest number, for what sums carry there.
const SPARE_COLUMNS: usize = 2;

/// The numbers that a family can draw, in a fixed order.
#[derive(Debug, Default)]
pub struct Space {
    /// One for each combination of listed values; numbers are ordered by combination first.
    parts: Vec<Part>,
    /// What the parts are counted by. Parts that differ only in values that no demand looks at share one.
    automata: Vec<Automaton>,
    exact: bool,
}

/// All numbers with one combination of listed values.
#[derive(Debug)]
struct Part {
    givens: Vec<Choice>,
    count: u128,
    /// Which automaton counts it; without one every combination of the ranges is in, and nothing is decided here.
    automaton: Option<usize>,
}

/// What a given may be within a part.
#[derive(Clone, Debug, PartialEq)]
enum Choice {
    Fixed(Decimal),
    Range {
        from: u64,
        to: u64,
        places: u32,
        ends_nonzero: bool,
    },
    /// Only in parts without an automaton.
    Listed(Vec<Decimal>),
}

impl Space {
    /// Counts a family's numbers.
    pub(super) fn of(family: &Family) -> Self {
        let exact = family.steps.iter().all(|step| step.separates == 0);
        let mut space = Self { parts: Vec::new(), automata: Vec::new(), exact };
        if count_of_lists(&family.givens) > MAX_COMBINATIONS {
            let givens: Vec<Choice> = family.givens.iter().map(Choice::whole).collect();
            let count = givens.iter().map(Choice::count).product();
            space.parts.push(Part { givens, count, automaton: None });
            space.exact = false;
            return space;
        }
        for givens in combinations_of_lists(&family.givens) {
            let (program, carries_all) = Program::compile(family, &givens);
            space.exact &= carries_all && program.is_some();
            let automaton = program.map(|program| space.automaton(program));
            let count = match automaton {
                Some(index) => space.automata[index].total(),
                None => givens.iter().map(Choice::count).product(),
            };
            space.parts.push(Part { givens, count, automaton });
        }
        space
    }

    /// The automaton of a program, counted once.
    fn automaton(&mut self, program: Program) -> usize {
        match self.automata.iter().position(|known| known.program == program) {
            Some(known) => known,
            None => {
                self.automata.push(Automaton::counted(program));
                self.automata.len() - 1
            }
        }
    }

    /// How many combinations of numbers there are.
    #[must_use]
    pub fn count(&self) -> u128 {
        self.parts.iter().map(|part| part.count).sum()
    }

    /// Whether each of them is a question: nothing is left for the draw to decide.
    #[must_use]
    pub fn is_exact(&self) -> bool {
        self.exact
    }

    /// The numbers at an index, in the order of the givens; `None` beyond the count.
    pub(super) fn numbers(&self, mut index: u128) -> Option<Vec<Decimal>> {
        for part in &self.parts {
            if index < part.count {
                return match part.automaton {
                    Some(automaton) => self.automata[automaton].numbers(&part.givens, index),
                    None => part.combination(index),
                };
            }
            index -= part.count;
        }
        None
    }
}

impl Part {
    /// The combination at an index: a mixed-radix numeral, the last given changing fastest.
    fn combination(&self, mut index: u128) -> Option<Vec<Decimal>> {
        let mut values = Vec::with_capacity(self.givens.len());
        for given in self.givens.iter().rev() {
            values.push(given.at(index % given.count())?);
            index /= given.count();
        }
        values.reverse();
        Some(values)
    }
}

impl Choice {
    /// All that a given may be.
    fn whole(given: &GivenRange) -> Self {
        match &given.numbers {
            Numbers::List(values) => Self::Listed(values.clone()),
            Numbers::Range { from, to, places, ends_nonzero } => {
                Self::Range { from: *from, to: *to, places: *places, ends_nonzero: *ends_nonzero }
            }
        }
    }

    fn numbers(&self) -> Numbers {
        match self {
            Self::Listed(values) => Numbers::List(values.clone()),
            Self::Fixed(value) => Numbers::List(alloc::vec![*value]),
            Self::Range { from, to, places, ends_nonzero } => {
                Numbers::Range { from: *from, to: *to, places: *places, ends_nonzero: *ends_nonzero }
            }
        }
    }

    fn count(&self) -> u128 {
        self.numbers().count().into()
    }

    fn at(&self, index: u128) -> Option<Decimal> {
        self.numbers().at(u64::try_from(index).ok()?)
    }

    fn places(&self) -> u32 {
        match self {
            Self::Fixed(value) => value.places(),
            Self::Range { places, .. } => *places,
            Self::Listed(values) => values.iter().map(Decimal::places).max().unwrap_or(0),
        }
    }

    fn largest(&self) -> Option<Decimal> {
        match self {
            Self::Fixed(value) => Some(*value),
            Self::Listed(values) => values.iter().max().copied(),
            Self::Range { to, places, .. } => Decimal::new((*to).into(), *places).ok(),
        }
    }
}

/// How many combinations of listed values there are.
fn count_of_lists(givens: &[GivenRange]) -> usize {
    let lengths = givens.iter().filter_map(|given| match &given.numbers {
        Numbers::List(values) => Some(values.len()),
        Numbers::Range { .. } => None,
    });
    lengths.fold(1, usize::saturating_mul)
}

/// Every combination of the listed values, ranges kept as they are.
fn combinations_of_lists(givens: &[GivenRange]) -> Vec<Vec<Choice>> {
    let mut combinations: Vec<Vec<Choice>> = alloc::vec![Vec::new()];
    for given in givens {
        let choices: Vec<Choice> = match &given.numbers {
            Numbers::List(values) => values.iter().copied().map(Choice::Fixed).collect(),
            Numbers::Range { .. } => alloc::vec![Choice::whole(given)],
        };
        let extended = combinations.iter().flat_map(|sofar| {
            choices.iter().map(move |choice| {
                let mut longer = sofar.clone();
                longer.push(choice.clone());
                longer
            })
        });
        combinations = extended.collect();
    }
    combinations
}

/// A place in the state that holds a digit of the column being read.
type Register = usize;
/// A place in the state that is carried from column to column.
type Slot = usize;

/// What happens in each column, in order.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Instruction {
    /// Reads a digit of a given: the automaton branches here.
    Read { given: usize, into: Register },
    /// A digit of a fixed number.
    Fixed { constant: usize, into: Register },
    /// One column of a sum.
    Add { left: Register, right: Register, into: Register, carry: Slot, counted: Option<Slot> },
    /// One column of a difference.
    Subtract {
        left: Register,
        right: Register,
        into: Register,
        lent: Slot,
        counted: Option<Slot>,
        crossed: Option<Slot>,
    },
    /// Whether two numbers compare as demanded so far.
    Compare { left: Register, right: Register, order: Slot },
}

/// What a slot must hold after the last column.
#[derive(Clone, Debug, PartialEq)]
enum Demand {
    /// No carry is left over, nothing is lent from beyond.
    Zero,
    /// One of these orders. The slot tells whether the order so far is one: the higher column decides over the lower
    /// ones, so nothing else need be remembered.
    Order(&'static [Ordering]),
    /// A count within bounds.
    Count { least: usize, most: usize },
    /// A flag, set or not.
    Flag(bool),
}

/// An automaton's program.
#[derive(Debug, PartialEq)]
struct Program {
    /// The ranges of the givens that are read.
    ranges: Vec<Option<Choice>>,
    constants: Vec<Decimal>,
    instructions: Vec<Instruction>,
    /// Registers that no later instruction of the column reads, by instruction: cleared, so that equal states meet.
    dead_after: Vec<Vec<Register>>,
    demands: Vec<(Slot, Demand)>,
    /// Slots start after the registers.
    registers: usize,
    places: usize,
    columns: usize,
}

impl Program {
    /// Compiles what can be carried. Tells whether that is everything the family demands; no program at all if the
    /// state would grow too large.
    fn compile(family: &Family, givens: &[Choice]) -> (Option<Self>, bool) {
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
            // A comparison always has an answer; its sides must have values.
            all &= match expression {
                Some(Expression::Comparison(left, right)) => {
                    self.node(&left).and(self.node(&right)).is_some()
                }
                Some(number) => self.node(&number).is_some(),
                None => false,
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

    fn bounds(&mut self, given: usize) {
        let name = Expression::Name(self.family.givens[given].name.clone());
        let Choice::Range { from, to, places, .. } = self.givens[given] else {
            return;
        };
        let limit = |units: u64| Decimal::new(units.into(), places).map(Expression::Literal);
        if let (Ok(low), Ok(high)) = (limit(from), limit(to)) {
            self.compare(&name, &low, &[Ordering::Greater, Ordering::Equal]);
            self.compare(&name, &high, &[Ordering::Less, Ordering::Equal]);
        }
    }

    fn condition(&mut self, condition: &Condition) -> Option<()> {
        let last = self.family.steps.len();
        match condition {
            Condition::Relation(relation) => {
                let left = self.inlined(&relation.left, last)?;
                let right = self.inlined(&relation.right, last)?;
                self.compare(&left, &right, relation.allowed)
            }
            Condition::Feature { of, feature } => {
                let expression = self.inlined(of, last)?;
                self.node(&expression)?;
                self.feature(&expression, feature)
            }
        }
    }

    /// The expression with the names of steps before `step` replaced by what they stand for.
    fn inlined(&self, expression: &Expression, step: usize) -> Option<Expression> {
        let inline = |part: &Expression| self.inlined(part, step).map(alloc::boxed::Box::new);
        Some(match expression {
            Expression::Name(name) => {
                let earlier = self.family.steps[..step].iter().position(|known| known.id == *name);
                match earlier {
                    Some(index) => self.inlined(&self.family.steps[index].expression, index)?,
                    None => expression.clone(),
                }
            }
            Expression::Literal(_) => expression.clone(),
            Expression::Binary(operation @ (Operation::Add | Operation::Subtract), left, right) => {
                Expression::Binary(*operation, inline(left)?, inline(right)?)
            }
            Expression::Comparison(left, right) => Expression::Comparison(inline(left)?, inline(right)?),
            Expression::Binary(..) | Expression::Call(..) => return None,
        })
    }

    /// The register that holds an expression's digit in each column; compiled at first use.
    fn node(&mut self, expression: &Expression) -> Option<Register> {
        if let Some(known) = self.nodes.iter().find(|node| node.expression == *expression) {
            return Some(known.register);
        }
        let (instruction, working) = match expression {
            Expression::Literal(number) => (self.fixed(*number), None),
            Expression::Name(name) => {
                let given = self.family.givens.iter().position(|given| given.name == *name)?;
                match self.givens[given] {
                    Choice::Fixed(value) => (self.fixed(value), None),
                    Choice::Range { .. } => {
                        let into = self.register();
                        (Instruction::Read { given, into }, None)
                    }
                    Choice::Listed(_) => return None,
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
            Expression::Call(..) | Expression::Comparison(..) => return None,
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

    fn compare(&mut self, left: &Expression, right: &Expression, allowed: &'static [Ordering]) -> Option<()> {
        let (left, right) = (self.node(left)?, self.node(right)?);
        let order = self.slot(Demand::Order(allowed));
        self.instructions.push(Instruction::Compare { left, right, order });
        Some(())
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

    fn finish(self) -> Option<Program> {
        if self.registers + self.slots > MAX_STATE {
            return None;
        }
        let numbers = self.givens.iter().filter_map(Choice::largest).chain(self.constants.iter().copied());
        let (mut places, mut whole) = (0, 1);
        for number in numbers {
            places = places.max(number.places() as usize);
            whole = whole.max(number.whole_digits() as usize);
        }
        Some(Program {
            dead_after: dead_after(&self.instructions, self.registers),
            ranges: self
                .givens
                .iter()
                .map(|given| matches!(given, Choice::Range { .. }).then(|| given.clone()))
                .collect(),
            constants: self.constants,
            instructions: self.instructions,
            demands: self.demands,
            registers: self.registers,
            places,
            columns: places + whole + SPARE_COLUMNS,
        })
    }
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
        };
        if let Some(last) = instructions.iter().rposition(touches) {
            dead[last].push(register);
        }
    }
    dead
}

/// Registers and slots, four bits each: a digit, a carry, a flag or a small count.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
struct State(u128);

impl State {
    fn get(self, place: usize) -> u8 {
        u8::try_from(self.0 >> (4 * place) & 0xF).expect("four bits")
    }

    fn set(&mut self, place: usize, value: u8) {
        self.0 = self.0 & !(0xF << (4 * place)) | u128::from(value & 0xF) << (4 * place);
    }
}

/// Where the automaton is: column and instruction as one number.
type Step = usize;

/// A program with the number of ways to go on from each state that can be met.
#[derive(Debug)]
struct Automaton {
    program: Program,
    ways: BTreeMap<(Step, State), u128>,
}

impl Automaton {
    fn counted(program: Program) -> Self {
        let mut automaton = Self { program, ways: BTreeMap::new() };
        let start = automaton.start();
        automaton.count(0, start);
        automaton
    }

    fn start(&self) -> State {
        let mut state = State::default();
        for (slot, demand) in &self.program.demands {
            if let Demand::Order(allowed) = demand {
                state.set(self.program.registers + slot, u8::from(allowed.contains(&Ordering::Equal)));
            }
        }
        state
    }

    fn total(&self) -> u128 {
        self.at_branch(0, self.start()).map_or(0, |(step, state)| self.ways_from(step, state))
    }

    /// Goes on to the next branch, or past the last column; `None` if no way leads on from here.
    fn at_branch(&self, mut step: Step, mut state: State) -> Option<(Step, State)> {
        let length = self.program.instructions.len();
        while step < length * self.program.columns {
            let instruction = self.program.instructions[step % length];
            if matches!(instruction, Instruction::Read { .. }) {
                return Some((step, state));
            }
            self.program.execute(instruction, step / length, &mut state)?;
            self.program.clear(step % length, &mut state);
            step += 1;
        }
        Some((step, state))
    }

    /// The state after reading a digit at a branch.
    fn after_reading(&self, step: Step, state: State, digit: u8) -> Option<(Step, State)> {
        let length = self.program.instructions.len();
        let Instruction::Read { given, into } = self.program.instructions[step % length] else {
            return None;
        };
        if !self.program.may_read(given, step / length, digit) {
            return None;
        }
        let mut next = state;
        next.set(into, digit);
        self.program.clear(step % length, &mut next);
        self.at_branch(step + 1, next)
    }

    fn is_end(&self, step: Step) -> bool {
        step >= self.program.instructions.len() * self.program.columns
    }

    fn count(&mut self, step: Step, state: State) -> u128 {
        let Some((step, state)) = self.at_branch(step, state) else {
            return 0;
        };
        if self.is_end(step) {
            return u128::from(self.program.accepts(state));
        }
        if let Some(known) = self.ways.get(&(step, state)) {
            return *known;
        }
        let ways = (0..10)
            .filter_map(|digit| self.after_reading(step, state, digit))
            .collect::<Vec<_>>()
            .into_iter()
            .map(|(next, state)| self.count(next, state))
            .sum();
        self.ways.insert((step, state), ways);
        ways
    }

    fn ways_from(&self, step: Step, state: State) -> u128 {
        if self.is_end(step) {
            return u128::from(self.program.accepts(state));
        }
        self.ways.get(&(step, state)).copied().unwrap_or(0)
    }

    /// The numbers at an index: at each branch the digits are passed in order until the index falls among the ways of
    /// one of them.
    fn numbers(&self, givens: &[Choice], mut index: u128) -> Option<Vec<Decimal>> {
        let length = self.program.instructions.len();
        let mut units = alloc::vec![0_i128; givens.len()];
        let (mut step, mut state) = self.at_branch(0, self.start())?;
        while !self.is_end(step) {
            let mut chosen = None;
            for digit in 0..10 {
                let Some((next, after)) = self.after_reading(step, state, digit) else {
                    continue;
                };
                let ways = self.ways_from(next, after);
                if index < ways {
                    chosen = Some((digit, next, after));
                    break;
                }
                index -= ways;
            }
            let (digit, next, after) = chosen?;
            if let Instruction::Read { given, .. } = self.program.instructions[step % length] {
                units[given] += i128::from(digit) * 10_i128.pow(u32::try_from(step / length).ok()?);
            }
            (step, state) = (next, after);
        }
        self.program.as_written(givens, &units)
    }
}

impl Program {
    /// Whether a given may have that digit in a column: zero where its largest number has no digit, and not zero at its
    /// end if so asked. Its bounds are compared by instructions.
    fn may_read(&self, given: usize, column: usize, digit: u8) -> bool {
        let Some(Choice::Range { to, places, ends_nonzero, .. }) = self.ranges[given] else {
            return digit == 0;
        };
        let lowest = self.places - places as usize;
        let width = to.checked_ilog10().map_or(1, |log| log as usize + 1);
        match column.cmp(&lowest) {
            Ordering::Less => digit == 0,
            Ordering::Equal => digit != 0 || !ends_nonzero,
            Ordering::Greater => digit == 0 || column < lowest + width,
        }
    }

    fn execute(&self, instruction: Instruction, column: usize, state: &mut State) -> Option<()> {
        let slots = self.registers;
        match instruction {
            Instruction::Read { .. } => {}
            Instruction::Fixed { constant, into } => state.set(into, self.fixed_digit(constant, column)),
            Instruction::Add { left, right, into, carry, counted } => {
                let sum = state.get(left) + state.get(right) + state.get(slots + carry);
                state.set(into, sum % 10);
                state.set(slots + carry, sum / 10);
                if let Some(count) = counted {
                    self.counted(count, sum >= 10, state)?;
                }
            }
            Instruction::Subtract { left, right, into, lent, counted, crossed } => {
                let (top, bottom, lends) = (state.get(left), state.get(right), state.get(slots + lent) > 0);
                // A zero that has to lend becomes nine and hands the exchange on to its left.
                let through_zero = lends && top == 0;
                let now = if through_zero { 9 } else { top - u8::from(lends) };
                let exchanges = now < bottom;
                state.set(into, if exchanges { now + 10 } else { now } - bottom);
                state.set(slots + lent, u8::from(exchanges || through_zero));
                if let Some(count) = counted {
                    self.counted(count, exchanges, state)?;
                }
                if let (Some(flag), true) = (crossed, through_zero) {
                    state.set(slots + flag, 1);
                }
            }
            Instruction::Compare { left, right, order } => {
                let here = state.get(left).cmp(&state.get(right));
                if let (true, Demand::Order(allowed)) = (here != Ordering::Equal, &self.demands[order].1) {
                    state.set(slots + order, u8::from(allowed.contains(&here)));
                }
            }
        }
        Some(())
    }

    /// Counts one more; no way leads on past the most.
    fn counted(&self, slot: Slot, one_more: bool, state: &mut State) -> Option<()> {
        let Demand::Count { most, .. } = self.demands[slot].1 else {
            return None;
        };
        let count = state.get(self.registers + slot) + u8::from(one_more);
        state.set(self.registers + slot, count);
        (usize::from(count) <= most).then_some(())
    }

    fn clear(&self, instruction: usize, state: &mut State) {
        for register in &self.dead_after[instruction] {
            state.set(*register, 0);
        }
    }

    fn fixed_digit(&self, constant: usize, column: usize) -> u8 {
        let index = i32::try_from(self.places).unwrap_or(0) - i32::try_from(column).unwrap_or(0);
        self.constants[constant].digit(index)
    }

    fn accepts(&self, state: State) -> bool {
        self.demands.iter().all(|(slot, demand)| {
            let held = state.get(self.registers + slot);
            match demand {
                Demand::Zero => held == 0,
                Demand::Order(_) => held == 1,
                Demand::Count { least, most } => (*least..=*most).contains(&usize::from(held)),
                Demand::Flag(wanted) => (held > 0) == *wanted,
            }
        })
    }

    /// Values from units of the finest place, written with the places of each given.
    fn as_written(&self, givens: &[Choice], units: &[i128]) -> Option<Vec<Decimal>> {
        let finest = u32::try_from(self.places).ok()?;
        let values = givens.iter().zip(units).map(|(given, units)| match given {
            Choice::Fixed(value) => Some(*value),
            Choice::Listed(_) => None,
            Choice::Range { .. } => Decimal::new(*units, finest).ok()?.with_places(given.places()),
        });
        values.collect()
    }
}

#[cfg(test)]
mod tests {
    use alloc::{collections::BTreeSet, format, string::String};

    use super::*;

    /// A family of these givens, requirements and steps.
    fn family(givens: &[&str], requires: &[&str], steps: &[&str]) -> Family {
        let mut text = String::from(
            "family = \"small\"\nversion = 1\nstandards = []\n[text.en-US]\ntitle = \"t\"\n[text.en-US.prompt]\n",
        );
        for (index, _) in steps.iter().enumerate() {
            text += &format!("s{index} = \"?\"\n");
        }
        for (name, given) in ["a", "b", "c", "d"].iter().zip(givens) {
            text += &format!("[[given]]\nname = \"{name}\"\n{given}\n");
        }
        for require in requires {
            text += &format!("[[require]]\n{require}\n");
        }
        for (index, expression) in steps.iter().enumerate() {
            let kind = if expression.contains('?') { "choice" } else { "number" };
            text +=
                &format!("[[step]]\nid = \"s{index}\"\nkind = \"{kind}\"\nexpression = \"{expression}\"\n");
        }
        Family::from_toml("small", &text).unwrap_or_else(|errors| panic!("{errors}\n{text}"))
    }

    /// Every combination of the givens' numbers that makes a question, one by one.
    fn by_brute_force(family: &Family) -> BTreeSet<Vec<Decimal>> {
        let mut all: Vec<Vec<Decimal>> = alloc::vec![Vec::new()];
        for given in &family.givens {
            let numbers: Vec<Decimal> =
                (0..given.numbers.count()).filter_map(|index| given.numbers.at(index)).collect();
            let longer = all.iter().flat_map(|values| {
                numbers.iter().map(move |number| [values.as_slice(), &[*number]].concat())
            });
            all = longer.collect();
        }
        all.into_iter().filter(|values| family.steps_if_fitting(values).is_some()).collect()
    }

    const RANGE_1: &str = "from = \"1.1\"\nto = \"3.9\"";
    const RANGE_1_NONZERO: &str = "from = \"0.3\"\nto = \"4.2\"\nends = \"nonzero\"";
    const RANGE_2: &str = "from = \"0.95\"\nto = \"2.15\"";
    const RANGE_2_NONZERO: &str = "from = \"0.88\"\nto = \"1.31\"\nends = \"nonzero\"";
    const WHOLE: &str = "from = \"2\"\nto = \"12\"";
    const LIST: &str = "values = [\"0.5\", \"1.25\", \"3\"]";

    /// Givens, requirements, steps of small families whose every demand the automaton carries.
    const CARRIED: &[(&[&str], &[&str], &[&str])] = &[
        (&[RANGE_1], &[], &["a"]),
        (&[RANGE_1_NONZERO], &[], &["a + 0.75"]),
        (&[RANGE_1, RANGE_2], &[], &["a + b"]),
        (&[RANGE_1, RANGE_2_NONZERO], &[], &["a - b"]),
        (&[RANGE_2, RANGE_1], &[], &["a - b"]),
        (&[WHOLE, RANGE_2], &[], &["a - b"]),
        (&[RANGE_1, RANGE_1], &["relation = \"a > b\""], &["a - b"]),
        (&[RANGE_1, RANGE_1], &["relation = \"a != b\""], &["a ? b"]),
        (&[RANGE_1, RANGE_2], &["relation = \"a = b\""], &["a ? b"]),
        (&[RANGE_1, RANGE_2], &["relation = \"a <= b + 0.5\""], &["a ? b"]),
        (&[RANGE_1, RANGE_2], &["relation = \"b >= a\""], &["b - a"]),
        (&[RANGE_1, RANGE_2], &["relation = \"s0 < 4\""], &["a + b"]),
        (&[RANGE_2, RANGE_2], &["of = \"a + b\"\ncarries = [1, 1]"], &["a + b"]),
        (&[RANGE_2, RANGE_2], &["of = \"a + b\"\ncarries = [2, 3]"], &["a + b"]),
        (&[RANGE_2, RANGE_2], &["of = \"a + b\"\ncarries = [0, 0]"], &["a + b"]),
        (&[RANGE_1, RANGE_2], &["of = \"a + b\"\ncarries = [1, 2]"], &["a + b"]),
        (&[RANGE_1, RANGE_2], &["of = \"a - b\"\nexchanges = [1, 1]"], &["a - b"]),
        (&[RANGE_1, RANGE_2], &["of = \"a - b\"\nexchanges = [2, 2]"], &["a - b"]),
        (&[RANGE_1, RANGE_2], &["of = \"a - b\"\nexchanges = [0, 0]"], &["a - b"]),
        (&[RANGE_2, RANGE_2], &["of = \"a - b\"\nacross_zero = true"], &["a - b"]),
        (&[RANGE_2, RANGE_2], &["of = \"a - b\"\nacross_zero = false"], &["a - b"]),
        (&[RANGE_2, RANGE_2], &["of = \"a - b\"\nacross_zero = true\nexchanges = [1, 1]"], &["a - b"]),
        (&[WHOLE, RANGE_2], &["of = \"a - b\"\nacross_zero = true"], &["a - b"]),
        (&[LIST, RANGE_1], &[], &["a + b"]),
        (&[LIST, RANGE_1, LIST], &["relation = \"c > a\""], &["b + c - a"]),
        (&[RANGE_1_NONZERO, RANGE_1_NONZERO, RANGE_1_NONZERO], &[], &["a + b", "s0 - c"]),
        (&[RANGE_1, RANGE_1, WHOLE], &["of = \"a + b\"\ncarries = [1, 1]"], &["a + b", "c - s0"]),
        (&[RANGE_1, RANGE_1, WHOLE], &["of = \"c - s0\"\nacross_zero = true"], &["a + b", "c - s0"]),
        (&[RANGE_1, RANGE_1, RANGE_1], &["relation = \"s0 > s1\""], &["a + b", "b + c", "s0 - s1"]),
        (&[RANGE_1, RANGE_1, RANGE_1], &["relation = \"a < b\"", "relation = \"b < c\""], &["a + b + c"]),
        (&[RANGE_2_NONZERO, WHOLE], &["relation = \"b > 10\""], &["b - (a + a)"]),
        (
            &[RANGE_1, RANGE_1, RANGE_1, LIST],
            &["of = \"s0 + s1\"\ncarries = [2, 3]"],
            &["a + b", "c + d", "s0 + s1"],
        ),
        (
            &[RANGE_1, RANGE_1, WHOLE],
            &["of = \"a + b\"\ncarries = [0, 1]", "of = \"c - b\"\nexchanges = [1, 1]"],
            &["a + b", "c - b"],
        ),
    ];

    #[test]
    fn counts_as_brute_force_does_and_reaches_every_question_once() {
        for (givens, requires, steps) in CARRIED {
            let family = family(givens, requires, steps);
            let expected = by_brute_force(&family);
            let place = format!("{requires:?} {steps:?}");
            assert!(family.is_exact(), "{place}");
            assert_eq!(family.capacity(), expected.len() as u128, "{place}");
            let reached: BTreeSet<Vec<Decimal>> =
                (0..family.capacity()).map(|index| family.space.numbers(index).unwrap()).collect();
            assert!(reached == expected, "{place}");
            assert_eq!(family.space.numbers(family.capacity()), None);
        }
        assert!(CARRIED.len() >= 30);
    }

    #[test]
    fn keeps_written_places() {
        let family = family(&[RANGE_2, LIST], &[], &["a + b"]);
        let numbers = family.space.numbers(0).unwrap();
        assert_eq!(numbers[0].places(), 2);
    }

    #[test]
    fn says_when_the_count_is_only_a_bound() {
        let product = family(&[RANGE_1, LIST], &["relation = \"s0 > 2\""], &["a * b"]);
        assert!(!product.is_exact());
        assert!(product.capacity() >= by_brute_force(&product).len() as u128);
        let drawn = product.draws("bound", 0, "en-US").count();
        assert_eq!(drawn, by_brute_force(&product).len());
        let twice = family(
            &[RANGE_2, RANGE_2],
            &["of = \"a + b\"\ncarries = [1, 2]", "of = \"a + b\"\ncarries = [2, 3]"],
            &["a + b"],
        );
        assert!(!twice.is_exact());
    }

    #[test]
    fn a_seed_draws_every_question_of_a_family_once() {
        let family = family(&[RANGE_1, RANGE_2_NONZERO], &["of = \"a - b\"\nexchanges = [1, 2]"], &["a - b"]);
        let drawn: BTreeSet<Vec<Decimal>> = family
            .draws("all of it", 0, "en-US")
            .map(|item| item.unwrap().givens.iter().map(|given| given.value).collect())
            .collect();
        assert_eq!(drawn, by_brute_force(&family));
    }
}
