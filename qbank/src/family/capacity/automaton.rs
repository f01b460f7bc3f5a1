//! The automaton that counts: it reads one digit of every given per column, and remembers little in between.
use alloc::{collections::BTreeMap, vec::Vec};
use core::cmp::Ordering;

use super::{
    Choice,
    program::{Demand, Instruction, Program},
    state::State,
};
use crate::decimal::Decimal;

/// Most states that are remembered, so that a family file is read in a moment. A family that needs more is not counted.
const MAX_WAYS: usize = 100_000;

/// Where the automaton is: column and instruction as one number.
type Step = usize;

/// A program with the number of ways to go on from each state that can be met.
#[derive(Debug)]
pub(super) struct Automaton {
    pub(super) program: Program,
    pub(super) ways: BTreeMap<(Step, State), u128>,
}

impl Automaton {
    /// `None` if more than [`MAX_WAYS`] states would have to be remembered.
    pub(super) fn counted(program: Program) -> Option<Self> {
        let mut automaton = Self { program, ways: BTreeMap::new() };
        let start = automaton.start();
        automaton.count(0, start)?;
        Some(automaton)
    }

    /// Whether it counts that program.
    pub(super) fn is_of(&self, program: &Program) -> bool {
        self.program == *program
    }

    fn start(&self) -> State {
        let mut state = State::default();
        for (slot, demand) in &self.program.demands {
            if let Demand::Order(allowed) | Demand::Alternative(_, allowed) = demand {
                state.set(self.program.registers + slot, u8::from(allowed.contains(&Ordering::Equal)));
            }
        }
        state
    }

    pub(super) fn total(&self) -> u128 {
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

    fn count(&mut self, step: Step, state: State) -> Option<u128> {
        let Some((step, state)) = self.at_branch(step, state) else {
            return Some(0);
        };
        if self.is_end(step) {
            return Some(u128::from(self.program.accepts(state)));
        }
        if let Some(known) = self.ways.get(&(step, state)) {
            return Some(*known);
        }
        let mut ways = 0;
        for digit in 0..10 {
            if let Some((next, after)) = self.after_reading(step, state, digit) {
                ways += self.count(next, after)?;
            }
        }
        self.ways.insert((step, state), ways);
        (self.ways.len() <= MAX_WAYS).then_some(ways)
    }

    fn ways_from(&self, step: Step, state: State) -> u128 {
        if self.is_end(step) {
            return u128::from(self.program.accepts(state));
        }
        self.ways.get(&(step, state)).copied().unwrap_or(0)
    }

    /// The numbers at an index: at each branch the digits are passed in order until the index falls among the ways of
    /// one of them.
    pub(super) fn numbers(&self, givens: &[Choice], mut index: u128) -> Option<Vec<Decimal>> {
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
